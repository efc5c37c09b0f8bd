"""Where walls meet each other, the floor and the ceiling: scenes whose edges are known in closed form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from tests.elevation.scenes import room, surface, upright, wall
from unfold.elevation.collect import ZoneRays
from unfold.elevation.corner import UNMEASURED_MM, SideLine, fit_end_strip, meet
from unfold.elevation.ends import end_zone, free_sides, place_ends
from unfold.elevation.outline import Outline, chord_bow, join_outline
from unfold.elevation.result import Edge, EdgeKind
from unfold.elevation.rings import signed_area
from unfold.elevation.slab_edge import Run, trace_slab_edge
from unfold.elevation.slab_levels import cells_beside
from unfold.room.result import Slab, WallEnd


@pytest.mark.parametrize("between_deg", [60.0, 90.0, 135.0, -90.0])
def test_two_flat_walls_meet_in_their_planes_line(between_deg: float) -> None:
    """The right wall starts where the left one ends, turned to the right by 180 - between; both bases are 3 mm off."""
    left = wall("W1", upright((0.0, 0.0, 0.0), 0.0), 2.0)
    right = wall("W2", upright((2.0, 0.0, 0.0), -(180.0 - between_deg)), 1.5)
    shift = 3.0
    first = surface(left, np.full((surface(left).grid.rows, surface(left).grid.columns), shift))
    met = meet(fit_end_strip(left, first, True), fit_end_strip(right, surface(right), False), np.linspace(0, 2500, 26))
    assert met is not None
    # the left face moved inward (-y) by 3 mm meets the other plane at 3 / tan(turn) beside the base corner
    turn = np.radians(180.0 - between_deg)
    np.testing.assert_allclose(met[0].u_mm, 2000.0 + shift / np.tan(turn), atol=0.02)
    np.testing.assert_allclose(met[1].u_mm, shift / np.sin(turn), atol=0.02)


def test_a_leaning_and_bowed_wall_gives_a_bowed_corner() -> None:
    left, right = wall("W1", upright((0, 0, 0), 0.0), 2.0), wall("W2", upright((2, 0, 0), -90.0), 1.5)
    grid = surface(right).grid
    v = grid.v0_mm + grid.cell_mm * np.arange(grid.rows)
    height = np.repeat((0.002 * v + 4 * np.sin(v / 900))[:, None], grid.columns, axis=1)
    levels = np.linspace(50, 2450, 30)
    met = meet(fit_end_strip(left, surface(left), True), fit_end_strip(right, surface(right, height), False), levels)
    assert met is not None
    # W2 looks along -x: what stands proud of it shortens W1
    np.testing.assert_allclose(met[0].u_mm, 2000.0 - 0.002 * levels - 4 * np.sin(levels / 900), atol=0.1)


def test_walls_in_one_line_do_not_meet() -> None:
    left, right = wall("W1", upright((0, 0, 0), 0.0), 2.0), wall("W2", upright((2, 0, 0), -1.0), 1.5)
    strips = fit_end_strip(left, surface(left), True), fit_end_strip(right, surface(right), False)
    assert meet(*strips, np.linspace(0, 2500, 5)) is None


def test_a_wall_that_was_not_seen_beside_the_corner_says_so() -> None:
    left, right = wall("W1", upright((0, 0, 0), 0.0), 2.0), wall("W2", upright((2, 0, 0), -90.0), 1.5)
    unseen = np.zeros((surface(right).grid.rows, surface(right).grid.columns), dtype=bool)
    strips = fit_end_strip(left, surface(left), True), fit_end_strip(right, surface(right, is_wall=unseen), False)
    met = meet(*strips, np.linspace(0, 2500, 5))
    assert met is not None and met[0].uncertainty_mm.min() > 5.0


def slab_points(frame_width: float, slope: float, height: float, radius: float | None) -> np.ndarray:
    """Cells of a ceiling z = height + slope * x before a wall whose frame is the world's own."""
    u, d = np.meshgrid(np.arange(0.0, frame_width, 0.02), np.arange(0.01, 0.32, 0.02))
    frame = upright((0, 0, 0), 0.0, radius)
    places = frame.level_from_uvh(np.column_stack([u.ravel(), 0 * u.ravel(), d.ravel()]))
    places[:, 2] = height + slope * places[:, 0]
    return places


def test_a_tilted_ceiling_on_a_round_wall_unrolls_to_a_sine() -> None:
    """Trade sheet section 7: a tilted plane cuts a cylinder in a sine curve when unrolled, R tan(a) sin(u/R).

    For R 1200: 90 deg is 1884.96 mm of arc.
    """
    radius, slope = 1.2, np.tan(np.radians(8.0))
    one = wall("W1", upright((0, 0, 0), 0.0, radius), 1.88496, top=2.6)
    assert one.width_m * 1000 == pytest.approx(radius * 1000 * np.pi / 2, abs=0.01)
    scene = room((one,), (Slab("ceiling", 2.4, slope, 0.0, (), 0.001),), slab_points(1.885, slope, 2.4, radius))
    u = np.arange(0.0, 1885.0, 10.0)
    ends = 2400 + 1200 * slope * np.sin((np.arange(38) + 0.5) * 50 / 1200) - 10
    runs = trace_slab_edge(one, scene, cells_beside(one, scene), "ceiling", ends, np.zeros(u.size), u)
    assert len(runs) == 1
    np.testing.assert_allclose(runs[0].v_mm, 2400 + 1200 * slope * np.sin(u / 1200), atol=0.3)


def test_a_bulkhead_makes_an_upright_step_where_its_face_is() -> None:
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0, top=2.5)
    frame = one.frame
    u, d = (grid.ravel() for grid in np.meshgrid(np.arange(0.0, 3.0, 0.02), np.arange(0.01, 0.32, 0.02)))
    flat = frame.level_from_uvh(np.column_stack([u, np.where(u < 1.313, 2.2, 2.5), d]))
    rise, out = (grid.ravel() for grid in np.meshgrid(np.arange(2.2, 2.5, 0.02), np.arange(0.01, 0.32, 0.02)))
    face = frame.level_from_uvh(np.column_stack([np.full(rise.size, 1.313), rise, out]))
    slabs = (Slab("ceiling", 2.5, 0, 0, (), 0.001), Slab("ceiling", 2.2, 0, 0, (), 0.001))
    scene = room((one,), slabs, np.vstack([flat, face]))
    ends = np.where((np.arange(60) + 0.5) * 50 < 1313, 2195.0, 2495.0)
    places = np.arange(0.0, 3001.0, 10.0)
    runs = trace_slab_edge(one, scene, cells_beside(one, scene), "ceiling", ends, np.zeros(places.size), places)
    assert [round(float(np.median(run.v_mm))) for run in runs] == [2200, 2500]
    assert runs[0].u_mm[-1] == pytest.approx(1313.0, abs=0.5) and runs[1].u_mm[0] == pytest.approx(1313.0, abs=0.5)


def test_a_ceiling_that_slopes_down_to_a_knee_wall_bends_where_its_planes_meet() -> None:
    """Sloped along the wall from 1.1 m at 0.75, level at 2.55 m from u = 1933.3 mm on; a plane crosses the slope."""
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0, top=2.55)
    u, d = (grid.ravel() for grid in np.meshgrid(np.arange(0.0, 3.0, 0.02), np.arange(0.01, 0.32, 0.02)))
    cells = one.frame.level_from_uvh(np.column_stack([u, np.minimum(1.1 + 0.75 * u, 2.55), d]))
    planes = ((2.55, 0.0), (1.1, 0.75), (2.3, 0.0))
    scene = room((one,), tuple(Slab("ceiling", z, slope, 0.0, (), 0.001) for z, slope in planes), cells)
    places = np.arange(0.0, 3001.0, 10.0)
    centre = (np.arange(60) + 0.5) * 50
    ends = np.minimum(1100 + 0.75 * centre, 2550) - 20.0
    runs = trace_slab_edge(one, scene, cells_beside(one, scene), "ceiling", ends, np.zeros(places.size), places)
    assert len(runs) == 2 and runs[0].u_mm[-1] == pytest.approx(1933.3, abs=2.0)
    for run in runs:
        np.testing.assert_allclose(run.v_mm, np.minimum(1100 + 0.75 * run.u_mm, 2550), atol=1.5)


def test_the_underside_of_a_cupboard_is_no_ceiling() -> None:
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0, top=2.5)
    u, d = (grid.ravel() for grid in np.meshgrid(np.arange(0.0, 3.0, 0.02), np.arange(0.01, 0.32, 0.02)))
    under = (u > 0.8) & (u < 1.6)
    above = ~under | (d > 0.2)  # over the cupboard rays reach the ceiling 200 mm from the wall
    cells = np.vstack([np.c_[u, 0 * u + 2.5, d][above], np.c_[u, 0 * u + 1.5, d][under]])
    slabs = (Slab("ceiling", 2.5, 0, 0, (), 0.001), Slab("ceiling", 1.5, 0, 0, (), 0.001))
    scene = room((one,), slabs, one.frame.level_from_uvh(cells))
    places = np.arange(0.0, 3001.0, 10.0)
    centre = (np.arange(60) + 0.5) * 50
    ends = np.where((centre > 800) & (centre < 1600), 1495.0, 2495.0)
    runs = trace_slab_edge(one, scene, cells_beside(one, scene), "ceiling", ends, np.zeros(places.size), places)
    assert len(runs) == 1 and np.abs(runs[0].v_mm - 2500.0).max() < 1.0


def test_a_floor_is_held_near_its_plane_where_a_base_cupboard_hides_it() -> None:
    """The floor rises by 4 mm within 0.2 m beside the cupboard: straight on it would be 14 mm high."""
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0)
    u, d = (grid.ravel() for grid in np.meshgrid(np.arange(0.0, 3.0, 0.02), np.arange(0.01, 0.32, 0.02)))
    seen = (u < 1.0) | (u > 2.0)
    rise = 0.004 * np.clip((0.2 - np.minimum(np.abs(u - 1.0), np.abs(u - 2.0))) / 0.2, 0.0, 1.0)
    scene = room(
        (one,), (Slab("floor", 0.0, 0, 0, (), 0.001),), one.frame.level_from_uvh(np.column_stack([u, rise, d]))[seen]
    )
    places = np.arange(0.0, 3001.0, 10.0)
    (run,) = trace_slab_edge(one, scene, cells_beside(one, scene), "floor", np.full(60, 5.0), 0.0 * places, places)
    middle = float(run.v_at(1500.0))
    uncertainty = float(np.interp(1500.0, run.u_mm, run.uncertainty_mm))
    assert abs(middle - 4.0) < 4.0 and 4.0 < uncertainty < 8.0


def test_the_side_of_a_cupboard_is_no_step_in_the_floor() -> None:
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0)
    u, d = (grid.ravel() for grid in np.meshgrid(np.arange(0.0, 3.0, 0.02), np.arange(0.01, 0.32, 0.02)))
    flat = one.frame.level_from_uvh(np.column_stack([u, 0 * u, d]))
    rise, out = (grid.ravel() for grid in np.meshgrid(np.arange(0.0, 0.7, 0.02), np.arange(0.03, 0.32, 0.02)))
    side = one.frame.level_from_uvh(np.column_stack([np.full(rise.size, 1.51), rise, out]))
    keep = (u < 0.9) | (u > 1.51)
    scene = room((one,), (Slab("floor", 0.0, 0, 0, (), 0.001),), np.vstack([flat[keep], side]))
    places = np.arange(0.0, 3001.0, 10.0)
    ends = np.where((np.arange(60) * 50 > 850) & (np.arange(60) * 50 < 1500), 700.0, 5.0)
    runs = trace_slab_edge(one, scene, cells_beside(one, scene), "floor", ends, np.zeros(places.size), places)
    assert len(runs) == 1 and np.abs(runs[0].v_mm).max() < 1.0


def test_levels_that_no_neighbour_bears_out_leave_the_slab_alone() -> None:
    """Two scraps of ceiling, each unlike the other: both are clutter, and the ceiling's own plane stands in."""
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0, top=2.42)
    u, d = (grid.ravel() for grid in np.meshgrid(np.arange(0.505, 0.545, 0.01), np.arange(0.03, 0.32, 0.01)))
    scraps = [np.column_stack([u + start, np.full(u.size, v), d]) for start, v in ((0.0, 2.40), (1.5, 2.44))]
    cells = one.frame.level_from_uvh(np.vstack(scraps))
    scene = room((one,), (Slab("ceiling", 2.42, 0, 0, (), 0.001),), cells)
    places = np.arange(0.0, 3001.0, 10.0)
    ends = np.full(60, 2390.0)
    runs = trace_slab_edge(one, scene, cells_beside(one, scene), "ceiling", ends, np.zeros(places.size), places)
    assert len(runs) == 1 and not runs[0].measured
    np.testing.assert_allclose(runs[0].v_mm, 2420.0, atol=0.01)
    assert runs[0].uncertainty_mm.min() >= 2.0


def test_without_floor_or_ceiling_there_is_no_run() -> None:
    one = wall("W1", upright((0, 0, 0), 0.0), 3.0)
    scene = room((one,), (), np.zeros((0, 3)))
    places = np.arange(0.0, 3001.0, 10.0)
    assert (
        trace_slab_edge(one, scene, cells_beside(one, scene), "ceiling", np.full(60, 2400.0), 0 * places, places) == []
    )


@settings(max_examples=40, deadline=None)
@given(
    st.floats(300, 6000),
    st.floats(600, 4000),
    st.lists(st.floats(-8, 8), min_size=8, max_size=8),
    st.floats(-0.04, 0.04),
    st.booleans(),
)
def test_outlines_are_simple_and_their_edges_cover_them(
    width: float, height: float, bows: list[float], slope: float, stepped: bool
) -> None:
    u, v = np.linspace(-150, width + 150, 200), np.linspace(-150, height + 150, 200)
    left = SideLine(v, bows[0] * np.sin(v / 700 + bows[1]), np.full(200, 0.3))
    right = SideLine(v, width + bows[2] * np.sin(v / 500 + bows[3]), np.full(200, 0.3))
    bottom = [Run(u, bows[4] * np.sin(u / 400) + slope * u / 4, np.full(200, 0.2), True)]
    level = height + bows[5] * np.sin(u / 300) + slope * u
    top = [Run(u, level, np.full(200, 0.2), True)]
    if stepped:
        middle = 0.4 * width
        low, high = u[u < middle], u[u > middle]
        top = [
            Run(
                np.r_[low, middle],
                np.r_[level[u < middle], level[u < middle][-1]] - 200.0,
                np.full(low.size + 1, 0.2),
                True,
            ),
            Run(np.r_[middle, high], np.r_[level[u > middle][0], level[u > middle]], np.full(high.size + 1, 0.2), True),
        ]
    floor: EdgeKind = "floor"
    ends = WallEnd("inside_corner", "W9"), WallEnd("outside_corner", "W2")
    outline = join_outline(bottom, top, left, right, ends, floor, "ceiling", 3.0)
    polygon = Polygon(outline.ring)
    assert polygon.is_valid and signed_area(outline.ring) > 0
    assert outline.edges[0].first == 0 and outline.edges[-1].last == 0
    assert all(a.last == b.first for a, b in zip(outline.edges[:-1], outline.edges[1:], strict=True))
    assert [edge.kind for edge in outline.edges] == [
        "floor",
        "outside_corner",
        *["ceiling"] * (3 if stepped else 1),
        "inside_corner",
    ]
    assert np.hypot(*np.diff(np.vstack([outline.ring, outline.ring[:1]]), axis=0).T).max() < 10.0 * 1.2


def test_bow_is_the_sagitta_of_an_arc() -> None:
    # trade sheet section 7: cylinder R 1200, 37 deg: chord 761.53, sagitta 62.01
    turn = np.radians(np.linspace(-18.5, 18.5, 201))
    arc = 1200 * np.column_stack([np.sin(turn), np.cos(turn)])
    assert np.hypot(*(arc[-1] - arc[0])) == pytest.approx(761.53, abs=0.01)
    assert chord_bow(arc) == pytest.approx(62.01, abs=0.01)


def test_a_free_end_is_placed_between_rays_on_the_wall_and_past_it() -> None:
    random = np.random.default_rng(9)
    one = wall("W1", upright((0, 0, 0), 0.0), 2.0)
    made = surface(one)
    left = SideLine(np.linspace(-100, 2600, 28), np.zeros(28), np.full(28, 0.3))
    right = SideLine(np.linspace(-100, 2600, 28), np.full(28, 2000.0), np.full(28, 5.0))
    u = np.linspace(-100, 2100, 23)
    level = [Run(u, np.full(23, v), np.full(23, 0.3), True) for v in (0.0, 2500.0)]
    ends = WallEnd("inside_corner", "W9"), WallEnd("end", None)
    outline = join_outline(level[:1], level[1:], left, right, ends, "floor", "ceiling", 3.0)
    assert free_sides(outline) == {"right": pytest.approx(2000.0)}
    zone = end_zone(0, outline, made, "right", 2000.0)
    assert len(zone.cells) > 100
    place, height = random.uniform(1940, 2060, 4000), random.uniform(200, 2300, 4000)
    true = 2003.7
    rays = ZoneRays(
        place,
        height,
        np.zeros(4000),
        np.zeros(4000),
        np.where(place < true, 0.0, -900.0),
        np.zeros(4000, np.int64),
        1.0,
    )
    placed = place_ends([one], [made], [zone], [rays], [("right", 2000.0)])["W1", "right"]
    assert placed.across(1200.0) == pytest.approx(true, abs=0.5)
    assert 0.4 < placed.standard_uncertainty_mm < 1.0


@pytest.mark.parametrize(("uncertainty_mm", "free"), [(UNMEASURED_MM, {"right": 2000.0}), (0.3, {})])
def test_an_outside_corner_is_placed_by_rays_where_the_other_face_was_not_seen(
    uncertainty_mm: float, free: dict[str, float]
) -> None:
    ring = np.array([[0.0, 0], [2000, 0], [2000, 2500], [0, 2500]])
    kinds: tuple[EdgeKind, ...] = ("floor", "outside_corner", "ceiling", "inside_corner")
    edges = tuple(Edge(kind, "W2", k, (k + 1) % 4, 0.0, uncertainty_mm) for k, kind in enumerate(kinds))
    assert free_sides(Outline(ring, edges)) == free


def test_a_step_beyond_the_wall_s_corner_leaves_its_ring_sound() -> None:
    """The ceiling steps 30 mm left of the corner at u = 0: what lies beyond it is no part of the edge."""

    def run(first: float, last: float, level: float) -> Run:
        u = np.array([first, last])
        return Run(u, np.full(2, level), np.full(2, 0.2), True)

    v = np.linspace(-150.0, 2700.0, 30)
    sides = (SideLine(v, np.zeros(30), np.full(30, 0.2)), SideLine(v, np.full(30, 2000.0), np.full(30, 0.2)))
    top = [run(-150.0, -30.0, 2300.0), run(-30.0, 2150.0, 2500.0)]
    ends = (WallEnd("inside_corner", "W2"), WallEnd("inside_corner", "W3"))
    outline = join_outline([run(-150.0, 2150.0, 0.0)], top, *sides, ends, "floor", "ceiling", 3.0)
    assert Polygon(outline.ring).is_valid
    assert outline.ring.min() == pytest.approx(0.0) and outline.ring[:, 0].max() == pytest.approx(2000.0)
