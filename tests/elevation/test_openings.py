"""Kinds, candidates, unseen areas, mirrors and absences on small rasters and rays with known answers."""

from dataclasses import replace

import numpy as np
import pytest
from shapely.geometry import Polygon, box

from tests.elevation.scenes import room, surface, upright, wall
from unfold.arrays import Floats
from unfold.elevation.absence import find_absences, last_of_front, over_voids
from unfold.elevation.candidates import Candidate, carried_to_floor, find_candidates
from unfold.elevation.cases import Case
from unfold.elevation.circle import fit_circle, ring_likelihood
from unfold.elevation.collect import ZoneRays
from unfold.elevation.edge_rays import EdgeRays
from unfold.elevation.evidence import BEHIND, BLOCKED, EMPTY, PROUD, WALL, Evidence, gather_evidence
from unfold.elevation.inside import Inside
from unfold.elevation.kinds import kind_of
from unfold.elevation.local_rays import LocalRays
from unfold.elevation.local_surface import surface_around
from unfold.elevation.mirror import is_mirror, occupied_voxels
from unfold.elevation.openings import behind_all_down
from unfold.elevation.rings import signed_area
from unfold.elevation.shapes import fit_rectangle
from unfold.elevation.unseen import find_unseen
from unfold.room.result import WallEnd

THROUGH = Inside(0.9, 0.0, 0.0, 1.0, None, 500)
BACK = Inside(0.0, 0.95, 0.9, 0.0, 60.0, 500)
PANE = Inside(0.8, 0.12, 0.8, 0.8, 150.0, 500)


def evidence_of(kind: np.ndarray) -> Evidence:
    grid = surface(wall("W1", upright((0, 0, 0), 0.0), 2.0)).grid
    return Evidence(grid, kind, kind, np.full(kind.shape, 6.0), np.zeros(kind.shape, dtype=bool))


def blank() -> tuple[np.ndarray, np.ndarray]:
    """A wall 2.0 x 2.5 m all seen: kinds, and which cells lie inside its outline."""
    grid = surface(wall("W1", upright((0, 0, 0), 0.0), 2.0)).grid
    inside = np.zeros((grid.rows, grid.columns), dtype=bool)
    inside[20:270, 20:220] = True  # cell centres from -195 mm on: 5 to 2495 and 5 to 1995
    return np.where(inside, WALL, EMPTY).astype(np.int8), inside


@pytest.mark.parametrize(
    ("size", "floor", "cased", "inside", "kind"),
    [
        ((900.0, 2050.0), True, False, THROUGH, "door"),
        ((900.0, 2050.0), True, False, BACK, "door"),  # a closed leaf
        ((3000.0, 2500.0), True, False, THROUGH, "opening"),  # a passage
        ((1200.0, 1300.0), False, False, PANE, "window"),
        ((900.0, 700.0), False, False, THROUGH, "opening"),  # a hatch
        ((500.0, 700.0), False, False, BACK, "niche"),
        ((80.0, 80.0), False, False, BACK, "service"),
        ((110.0,), False, False, THROUGH, "service"),
    ],
)
def test_kinds(size: tuple[float, ...], floor: bool, cased: bool, inside: Inside, kind: str) -> None:
    # common practice, no published source: the handoff's own words for each kind
    assert kind_of(size, floor, cased, inside) == kind


def test_a_group_of_rays_behind_is_a_candidate_and_a_stray_ray_or_shadow_is_none() -> None:
    kind, inside = blank()
    kind[60:70, 50:58] = BEHIND
    kind[100, 100] = BEHIND  # stray
    kind[30:90, 120:160] = BLOCKED  # furniture
    found = find_candidates(evidence_of(kind), np.where(kind == BEHIND, 3, 0), inside, np.zeros(kind.shape[1]))
    assert [one.box_mm for one in found] == [(300.0, 400.0, 380.0, 500.0)]
    assert not found[0].reaches_floor


def test_a_door_half_hidden_by_a_cupboard_still_stands_on_the_floor() -> None:
    kind, inside = blank()
    kind[20:220, 60:140] = BEHIND
    kind[20:200, 75:140] = BLOCKED
    found = find_candidates(evidence_of(kind), np.where(kind == BEHIND, 3, 0), inside, np.zeros(kind.shape[1]))
    assert len(found) == 1 and found[0].reaches_floor
    assert found[0].box_mm[0] == 400.0 and found[0].box_mm[2] == 1200.0


@pytest.mark.parametrize("leaf", [True, False])
def test_a_door_whose_foot_counts_as_wall_may_go_on_to_the_floor(leaf: bool) -> None:
    # the rough surface of a bowed wall sank into the leaf's foot: there it counts as wall, but not as the wall's own
    kind, inside = blank()
    kind[60:225, 60:150] = BEHIND
    doubtful = np.zeros(kind.shape, bool)
    doubtful[20:60, 60:150] = leaf
    evidence, floor = replace(evidence_of(kind), doubtful=doubtful), np.zeros(kind.shape[1])
    found = find_candidates(evidence, np.where(kind == BEHIND, 4, 0), inside, floor)
    assert [one.reaches_floor for one in found] == [False]
    carried = carried_to_floor(found, evidence, floor)
    assert [(one.box_mm, one.proven_from_mm) for one in carried] == ([((400.0, 0.0, 1300.0, 2050.0), 400.0)] * leaf)


@pytest.mark.parametrize(("deep", "expected"), [(40.0, True), (0.0, False)])
def test_it_does_so_only_where_its_points_lie_behind_the_wall(deep: float, expected: bool) -> None:
    random = np.random.default_rng(3)
    u, v = random.uniform((400.0, 0.0), (1300.0, 2050.0), (6000, 2)).T
    depth = np.where(v > 400.0, 40.0, deep) + random.normal(0, 5.0, u.size)
    none = np.zeros(u.size)
    rays = ZoneRays(u, v, none, none, -depth, np.zeros(u.size, np.int64), 1.0)
    cells = np.zeros(blank()[0].shape, bool)
    cells[20:225, 60:150] = True
    candidate = Candidate("behind", cells, (400.0, 0.0, 1300.0, 2050.0), 0.0, False, True, 400.0)
    face = surface_around(surface(wall("W1", upright((0, 0, 0), 0.0), 2.0)), candidate, 0.0)
    case = Case(candidate, rays, rays.select(np.zeros(u.size, bool)), 0.0)
    assert behind_all_down(case, face, 15.0) == expected


def test_a_small_proud_patch_is_a_plate_and_a_picture_is_none() -> None:
    kind, inside = blank()
    kind[60:68, 50:58] = PROUD
    kind[100:160, 80:140] = PROUD
    found = find_candidates(evidence_of(kind), np.zeros(kind.shape, int), inside, np.zeros(kind.shape[1]))
    assert [(one.source, one.box_mm) for one in found] == [("plate", (300.0, 400.0, 380.0, 480.0))]


def test_a_casing_is_seen_around_a_door() -> None:
    kind, inside = blank()
    kind[20:227, 53:147] = PROUD
    kind[20:220, 60:140] = BEHIND
    found = find_candidates(evidence_of(kind), np.where(kind == BEHIND, 3, 0), inside, np.zeros(kind.shape[1]))
    assert len(found) == 1 and found[0].casing


def test_what_reaches_beyond_the_raster_is_unseen() -> None:
    made = surface(wall("W1", upright((0, 0, 0), 0.0), 2.0))
    top = float(made.grid.v_mm[-1]) + made.grid.cell_mm / 2
    outline = np.array([[0.0, 0], [2000, 0], [2000, top + 500], [0, top + 500]])
    rings, area, share = find_unseen(gather_evidence(made), outline, [])
    assert sum(signed_area(ring) for ring in rings) >= 2000 * 500
    assert share <= 1 - 2000 * 500 / area


def test_empty_cells_between_sparse_rays_are_not_unseen() -> None:
    """Bunches of rays 50 mm apart leave most cells of 10 mm empty: only the patch that no ray reached is unseen."""
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0)
    made = surface(one)
    rows, columns = np.mgrid[0 : made.grid.rows, 0 : made.grid.columns]
    sparse = (rows % 5 == (columns // 5) % 2) & (columns % 5 == (rows // 5) % 2)
    hidden = (rows > 100) & (rows < 130) & (columns > 90) & (columns < 130)
    measured = sparse & ~hidden
    seen = gather_evidence(surface(one, is_wall=measured))
    outline = np.array([[0.0, 0], [2000, 0], [2000, 2500], [0, 2500]])
    rings, area, share = find_unseen(seen, outline, [])
    assert area == pytest.approx(5e6)
    assert len(rings) == 1 and signed_area(rings[0]) > 0
    assert signed_area(rings[0]) == pytest.approx(29 * 39 * 100, rel=0.2)
    assert share == pytest.approx(1 - signed_area(rings[0]) / 5e6)
    assert np.hypot(*(np.asarray(Polygon(rings[0]).centroid.coords)[0] - [905.0, 955.0])) < 15


def box_rays(seed: int, circle: bool, size: float = 90.0, spacing: float = 4.0) -> LocalRays:
    """Square-on rays around a square or round recess 50 mm deep centred on (0, 0)."""
    random = np.random.default_rng(seed)
    count = int((size + 80) ** 2 / spacing**2)
    a, b = random.uniform(-size / 2 - 40, size / 2 + 40, (2, count))
    within = np.hypot(a, b) < size / 2 if circle else np.maximum(np.abs(a), np.abs(b)) < size / 2
    depth = np.where(within, 50.0, 0.0) + random.normal(0, 0.8, count)
    return LocalRays(a, b, np.zeros(count), np.zeros(count), depth, np.zeros(count, np.int64))


@pytest.mark.parametrize("circle", [False, True])
def test_boxes_and_pipes_are_told_apart_and_measured(circle: bool) -> None:
    errors = []
    for seed in range(8):
        rays, box = box_rays(seed, circle), (-45.0, -45.0, 45.0, 45.0)
        rectangle = fit_rectangle(rays, box, 0.0, 3.0, True, None)
        round_one = fit_circle(rays, box, 0.0, 3.0, True)
        assert round_one is not None
        better = [ring_likelihood(rays, shape, box, 0.0, 3.0, True) for shape in (rectangle, round_one)]
        assert (better[1] > better[0]) == circle
        errors += [size - 90.0 for size in (round_one if circle else rectangle).size_mm]
    assert np.sqrt(np.mean(np.square(errors))) < 1.0


def pipe_at_a_slant(seed: int, diameter: float, slant: float) -> LocalRays:
    """Rays from one station far to the left of a pipe's hole: they end on its right half's side face, or nowhere."""
    random = np.random.default_rng(seed)
    half = diameter / 2
    a, b = np.meshgrid(np.arange(-half - 40, half + 40, 16.0), np.arange(-half - 40, half + 40, 9.0))
    a, b = (one.ravel() + random.uniform(0, 9) + random.normal(0, 0.3, one.size) for one in (a, b))
    within = np.hypot(a, b) < half
    reach = np.sqrt(np.clip(half**2 - b**2, 0.0, None)) - a  # along the wall, up to the side face
    depth = np.where(within, np.where(reach / slant < 200.0, reach / slant, 1e6), 0.0) + random.normal(0, 0.5, a.size)
    return LocalRays(a, b, np.full(a.size, slant), np.zeros(a.size), depth, np.zeros(a.size, np.int64))


def test_a_pipe_s_side_face_met_at_a_slant_pins_its_far_half() -> None:
    errors, stated = [], []
    for seed in range(12):
        rays = pipe_at_a_slant(seed, 120.0, 2.5)
        fit = fit_circle(rays, (-58.0, -58.0, 52.0, 58.0), 0.0, 2.5, True)
        assert fit is not None
        errors.append(fit.size_mm[0] - 120.0)
        stated.append(fit.standard_uncertainty_mm)
    assert np.sqrt(np.mean(np.square(errors))) < 2.0
    assert np.mean(np.abs(errors) < 2 * np.array(stated)) > 0.9


def mirror_scene(mirrored: bool) -> tuple[ZoneRays, np.ndarray]:
    """Points seen through a hole in a wall: the room's own mirror image, or a room of its own."""
    random = np.random.default_rng(5)
    furniture = random.uniform((0.2, -2.5, 0.3), (1.8, -0.6, 2.2), (3000, 3))  # before the wall (inward is -y)
    behind = furniture * [1, -1, 1] if mirrored else random.uniform((0.2, 3.0, 0.3), (1.8, 5.0, 2.2), (3000, 3))
    place = np.array([1.0, -2.0, 1.4])
    share = -place[1] / (behind[:, 1] - place[1])
    cross = place + share[:, None] * (behind - place)
    drift = (behind - cross)[:, [0, 2]] / -behind[:, 1:2]
    rays = ZoneRays(
        cross[:, 0] * 1000,
        cross[:, 2] * 1000,
        drift[:, 0],
        drift[:, 1],
        -behind[:, 1] * 1000,
        np.zeros(3000, np.int64),
        1.0,
    )
    return rays, furniture


@pytest.mark.parametrize("mirrored", [True, False])
def test_a_mirror_shows_the_room_itself(mirrored: bool) -> None:
    rays, furniture = mirror_scene(mirrored)
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0)
    scene = room((one,), (), furniture)
    assert is_mirror(rays, 0.0, one, occupied_voxels(scene.cells), box(-1.0, -4.0, 3.0, 0.0)) == mirrored


@pytest.mark.parametrize(("hidden", "shadow"), [(False, False), (True, False), (False, True)])
def test_a_framed_hole_with_a_reveal_is_an_opening_unless_something_hides_it(hidden: bool, shadow: bool) -> None:
    kind, inside = blank()
    kind[20:225, 60:150] = EMPTY
    end = WallEnd("end", None)
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0, left=end, right=end)
    cupboard = np.random.default_rng(1).uniform((0.45, -0.4, 0.0), (1.25, -0.4, 1.9), (4000, 3))
    scene = room((one,), (), cupboard if hidden else np.zeros((0, 3)))
    behind = np.zeros(kind.shape, int)
    if not shadow:
        behind[20:225, [61, 148]] = 1  # points on the jambs
    found = find_absences(evidence_of(kind), behind, inside, np.zeros(kind.shape[1]), one, scene)
    assert len(found) == (0 if hidden or shadow else 1)
    if found:
        assert found[0].reaches_floor and found[0].box_mm == (400.0, 0.0, 1300.0, 2050.0)


@pytest.mark.parametrize("sides", [2, 3])
def test_three_sides_of_a_reveal_outweigh_what_stands_before_it(sides: int) -> None:
    kind, inside = blank()
    kind[20:225, 60:150] = EMPTY
    kind[20:40, 150:175] = EMPTY  # the shadow of something hangs on to its foot
    cupboard = np.random.default_rng(1).uniform((0.45, -0.4, 0.0), (1.25, -0.4, 1.9), (4000, 3))
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0)
    behind = np.zeros(kind.shape, int)
    behind[40:225, [61, 148]] = 1  # points on the jambs
    if sides == 3:
        behind[223, 60:150] = 1  # and under the lintel
    floor = np.zeros(kind.shape[1])
    found = find_absences(evidence_of(kind), behind, inside, floor, one, room((one,), (), cupboard))
    assert [candidate.box_mm for candidate in found] == [(400.0, 0.0, 1300.0, 2050.0)] * (sides - 2)


def test_a_hanging_opening_shows_its_sill_too() -> None:
    kind, inside = blank()
    kind[80:150, 60:150] = EMPTY
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0)
    behind = np.zeros(kind.shape, int)
    behind[81, 60:150] = behind[80:150, 61] = 1  # the sill and one jamb
    scene = room((one,), (), np.zeros((0, 3)))
    assert len(find_absences(evidence_of(kind), behind, inside, np.zeros(kind.shape[1]), one, scene)) == 1


def test_a_wall_that_faces_an_opening_never_hides_it_and_its_reveal_is_no_gap_in_its_frame() -> None:
    # a corridor 1.4 m wide: what was seen of both walls was seen from between them
    kind, inside = blank()
    kind[20:225, 60:150] = BEHIND  # the reveal, within the jambs
    kind[20:222, 63:147] = EMPTY
    one, other = wall("W1", upright((0, 0, 0), 0.0), 2.0), wall("W2", upright((2.0, -1.4, 0), 180.0), 2.0)
    opposite = np.random.default_rng(1).uniform((0.0, -1.41, 0.0), (2.0, -1.39, 2.5), (6000, 3))
    behind = np.where(kind == BEHIND, 1, 0)
    behind[218:] = 0  # the lintel was not seen: two sides of the reveal
    floor = np.zeros(kind.shape[1])
    assert len(find_absences(evidence_of(kind), behind, inside, floor, one, room((one, other), (), opposite))) == 1
    assert not find_absences(evidence_of(kind), behind, inside, floor, one, room((one,), (), opposite))


@pytest.mark.parametrize("before", [False, True])
def test_what_a_niche_s_jamb_hides_is_of_it_unless_something_stands_before(before: bool) -> None:
    """A niche from 400 to 1000 mm seen from its left: its back shows from 500 mm on."""
    kind, inside = blank()
    kind[80:130, 60:120] = BEHIND
    kind[80:130, 60:70] = EMPTY
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0)
    post = np.random.default_rng(1).uniform((0.39, -0.4, 0.3), (0.51, -0.3, 2.0), (4000, 3))
    scene = room((one,), (), post if before else np.zeros((0, 3)))
    part = find_candidates(evidence_of(kind), np.where(kind == BEHIND, 3, 0), inside, np.zeros(kind.shape[1]))
    (found,) = over_voids(part, evidence_of(kind), one, scene)
    assert found.box_mm[0] == (500.0 if before else 400.0)
    assert found.box_mm[1:] == part[0].box_mm[1:]
    assert found.cells.sum() == (2500 if before else 3000)


def test_the_end_of_points_is_carried_on_by_half_their_spacing() -> None:
    errors, uncertainties = [], []
    for seed in range(20):
        random = np.random.default_rng(seed)
        x, t = random.uniform(-60, 0, 700), random.uniform(0, 2000, 700)
        fit = last_of_front(EdgeRays(x, t, np.zeros(700), np.zeros(700)), 3.0, 5.0, 40.0)
        assert fit is not None
        errors.append(fit.offset_mm)
        uncertainties.append(fit.standard_uncertainty_mm)
    assert abs(np.mean(errors)) < 0.5
    assert np.mean(np.abs(errors) < 2 * np.array(uncertainties)) >= 0.9


def rotated(points: Floats, degrees: float) -> Floats:
    c, s = np.cos(np.radians(degrees)), np.sin(np.radians(degrees))
    return np.asarray(points @ np.array([[c, s], [-s, c]]))


def test_a_turned_rectangle_keeps_four_true_corners() -> None:
    random = np.random.default_rng(2)
    a, b = random.uniform(-340, 340, (2, 12000))
    depth = np.where((np.abs(a) < 300) & (np.abs(b) < 200), 60.0, 0.0) + random.normal(0, 0.8, 12000)
    turned = rotated(np.column_stack([a, b]), 0.6)
    rays = LocalRays(turned[:, 0], turned[:, 1], np.zeros(12000), np.zeros(12000), depth, np.zeros(12000, np.int64))
    shape = fit_rectangle(rays, (-303.0, -204.0, 303.0, 204.0), 0.0, 3.0, True, None)
    corners = rotated(np.array([[-300.0, -200], [300, -200], [300, 200], [-300, 200]]), 0.6)
    np.testing.assert_allclose(shape.ring, corners, atol=0.8)
