"""Points on the far face of the wall between two rooms are that wall's, not the back of an opening."""

from dataclasses import replace

import numpy as np

from tests.elevation.scenes import surface, upright, wall
from unfold.elevation.collect import ZoneRays
from unfold.elevation.other_walls import without_other_walls


def points(h: list[float]) -> ZoneRays:
    none = np.zeros(len(h))
    return ZoneRays(none + 1000.0, none + 1200.0, none, none, np.array(h), np.zeros(len(h), np.int64), 1.0)


def test_the_next_room_s_face_is_no_back() -> None:
    # two faces 120 mm apart, looking away from each other
    near, far = wall("W1", upright((0, 0, 0), 0.0), 2.0), wall("W2", upright((2.0, 0.12, 0), 180.0), 2.0)
    assert near.frame.inward @ far.frame.inward == -1.0
    surfaces = [surface(near, noise=4.0), surface(far, noise=4.0)]
    on_wall, in_box, on_far = [0.0, 9.0, -12.0], [-50.0, -40.0, -70.0], [-120.0, -110.0, -133.0]
    kept = without_other_walls([points(on_wall + in_box + on_far)], [0], [near, far], surfaces)
    np.testing.assert_allclose(kept[0].h, on_wall + in_box)
    # what lies behind the far face spoils its cells there, but it still stands where the cells beside them say
    spoiled = surfaces[1].height_mm.copy()
    spoiled[130:150, 110:130] = np.nan
    kept = without_other_walls(
        [points(in_box + on_far)], [0], [near, far], [surfaces[0], replace(surfaces[1], height_mm=spoiled)]
    )
    np.testing.assert_allclose(kept[0].h, in_box)
    # and where the other wall was not measured at all, nothing is taken
    empty = replace(surfaces[1], height_mm=np.full_like(spoiled, np.nan))
    kept = without_other_walls([points(in_box + on_far)], [0], [near, far], [surfaces[0], empty])
    np.testing.assert_allclose(kept[0].h, in_box + on_far)
