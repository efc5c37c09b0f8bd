"""Whole rooms seen from above: no two walls' panels meet in a corner, whoever runs through."""

from functools import partial

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.layout.sample_walls import Corner, Sample, elevation, elevations, surface, surfaces
from unfold.arrays import Floats
from unfold.elevation.result import EdgeKind
from unfold.layout import lay_panels
from unfold.layout.result import Layout
from unfold.settings.layout import LayoutSettings

RECTANGLE = [(0, 0), (0, 3), (4, 3), (4, 0)]
L_SHAPE: list[tuple[float, float]] = [(0, 0), (0, 5), (3, 5), (3, 2), (6, 2), (6, 0)]
SKEW = [(0, 0), (0.6, 3.2), (4.4, 2.8), (5.2, -0.4)]
ACUTE = [(0, 0), (1.5, 2.5), (4.5, 2.5), (6, 0)]
BAY = [(0, 0), (0, 4), (2, 4), (2.6, 4.6), (3.8, 4.6), (4.4, 4), (6, 4), (6, 0)]


def room(plan_m: list[tuple[float, float]], height: float = 2700.0, lean_mm: float = 0.0) -> Sample:
    """Walls W1, W2, ... along a plan given clockwise, in metres; their upright edges lean outward at the top."""
    corners = np.array(plan_m, dtype=float)
    count = len(corners)
    along = np.roll(corners, -1, axis=0) - corners
    lengths, angles = np.hypot(*along.T) * 1000.0, np.degrees(np.arctan2(along[:, 1], along[:, 0]))
    walls = []
    for index in range(count):
        left, right = (index - 1) % count, (index + 1) % count
        kinds = [_corner_kind(along[left], along[index]), _corner_kind(along[index], along[right])]
        length = float(lengths[index])
        ring = [
            Corner(0.0, 0.0, "floor", "floor"), Corner(length, 0.0, kinds[1], f"W{right + 1}"),
            Corner(length + lean_mm, height, "ceiling", "ceiling"), Corner(-lean_mm, height, kinds[0], f"W{left + 1}"),
        ]  # fmt: skip
        walls.append(elevation(f"W{index + 1}", ring, place=(*corners[index].tolist(), float(angles[index]))))
    return Sample(elevations(*walls), surfaces(*[surface(wall) for wall in walls]))


def _corner_kind(before: Floats, after: Floats) -> EdgeKind:
    return "inside_corner" if before[0] * after[1] - before[1] * after[0] < 0.0 else "outside_corner"


def footprints(sample: Sample, layout: Layout) -> dict[str, list[shapely.Polygon]]:
    """Each wall's panels from above, as the slabs that they are, millimetres."""
    found: dict[str, list[shapely.Polygon]] = {}
    for wall, laid in zip(sample.elevations.walls, layout.walls, strict=True):
        assert laid.face_offset_mm is not None
        origin, right, inward = (1000.0 * wall.origin_scan_m[:2], wall.right[:2], wall.inward[:2])
        for panel in laid.panels:
            ends = [panel.ring_mm[:, 0].min(), panel.ring_mm[:, 0].max()]
            back, front = laid.face_offset_mm - layout.stock[0].thickness_mm, laid.face_offset_mm
            corners = [(ends[0], back), (ends[1], back), (ends[1], front), (ends[0], front)]
            found.setdefault(wall.id, []).append(shapely.Polygon([origin + u * right + h * inward for u, h in corners]))
    return found


def least_distance(sample: Sample, layout: Layout) -> float:
    """The least distance in plan between panels of different walls that share an inside corner."""
    slabs, least = footprints(sample, layout), np.inf
    for wall in sample.elevations.walls:
        for edge in wall.edges:
            if edge.kind == "inside_corner" and edge.neighbour is not None:
                pairs = ((one, other) for one in slabs[wall.id] for other in slabs[edge.neighbour])
                least = min(least, *(one.distance(other) for one, other in pairs))
    return float(least)


@pytest.mark.parametrize("rule", ["longer", "shorter", "left", "right"])
@pytest.mark.parametrize("plan", [RECTANGLE, L_SHAPE], ids=["rectangle", "l-shape"])
def test_square_corners_leave_exactly_the_gap(plan: list[tuple[float, float]], rule: str) -> None:
    sample = room(plan)
    layout = lay_panels(sample.elevations, sample.surfaces, LayoutSettings.model_validate({"runs_through": rule}))
    assert least_distance(sample, layout) == pytest.approx(3.175, abs=1e-6)


@pytest.mark.parametrize("plan", [SKEW, ACUTE, BAY], ids=["skew", "acute", "bay"])
def test_skew_corners_leave_the_gap(plan: list[tuple[float, float]]) -> None:
    sample = room(plan)
    layout = lay_panels(sample.elevations, sample.surfaces, LayoutSettings())
    assert least_distance(sample, layout) >= 3.175 - 1e-6


@settings(max_examples=8, deadline=None)
@given(st.lists(st.floats(-0.5, 0.5), min_size=8, max_size=8))
def test_any_four_walls_keep_clear_of_each_other(moved: list[float]) -> None:
    plan = [(x + moved[2 * n], y + moved[2 * n + 1]) for n, (x, y) in enumerate(RECTANGLE)]
    sample = room(plan)
    layout = lay_panels(sample.elevations, sample.surfaces, LayoutSettings())
    assert least_distance(sample, layout) >= 3.175 - 1e-6


@pytest.mark.parametrize("plan", [SKEW, ACUTE], ids=["skew", "acute"])
def test_no_panel_runs_into_a_bare_wall(plan: list[tuple[float, float]]) -> None:
    sample = room(plan)
    layout = lay_panels(sample.elevations, sample.surfaces, LayoutSettings(leave_out=("W2", "W4")))
    inside = shapely.Polygon(1000.0 * np.array(plan))
    for wall, slabs in _clad(sample, layout).items():
        for slab in slabs:
            assert inside.covers(slab), wall


def _clad(sample: Sample, layout: Layout) -> dict[str, list[shapely.Polygon]]:
    pairs = [(wall, laid) for wall, laid in zip(sample.elevations.walls, layout.walls, strict=True) if laid.panels]
    from dataclasses import replace

    chosen = Sample(elevations(*(wall for wall, _ in pairs)), sample.surfaces)
    return footprints(chosen, replace(layout, walls=tuple(laid for _, laid in pairs)))


def level(height: float, u: Floats, v: Floats) -> Floats:
    """A wall whose surface stands before its base plane."""
    return height + 0.0 * (u + v)


def mitred_slabs(sample: Sample, layout: Layout) -> dict[str, list[shapely.Polygon]]:
    """Panels from above, their backs shorter by the bevel at mitred ends, millimetres."""
    found: dict[str, list[shapely.Polygon]] = {}
    thickness = layout.stock[0].thickness_mm
    for wall, laid in zip(sample.elevations.walls, layout.walls, strict=True):
        assert laid.face_offset_mm is not None
        origin, right, inward = (1000.0 * wall.origin_scan_m[:2], wall.right[:2], wall.inward[:2])
        for panel in laid.panels:
            front = np.array([panel.ring_mm[:, 0].min(), panel.ring_mm[:, 0].max()])
            back = front.copy()
            for mitre in panel.mitres:
                end = int(abs(front[1] - mitre.line_mm[0, 0]) < 0.01)
                assert front[end] == pytest.approx(mitre.line_mm[0, 0], abs=0.01)
                back[end] += (1 - 2 * end) * thickness * np.tan(np.radians(mitre.bevel_deg))
            depth = laid.face_offset_mm - thickness, laid.face_offset_mm
            corners = [(back[0], depth[0]), (back[1], depth[0]), (front[1], depth[1]), (front[0], depth[1])]
            found.setdefault(wall.id, []).append(shapely.Polygon([origin + u * right + h * inward for u, h in corners]))
    return found


@pytest.mark.parametrize("plan", [L_SHAPE, BAY], ids=["square", "bay"])
@pytest.mark.parametrize("joint", [0.0, 3.175])
def test_mitred_panels_meet_at_the_joints_width(plan: list[tuple[float, float]], joint: float) -> None:
    """Seen from above the bevels are parallel and a joint apart, though the walls' beds differ in depth."""
    sample = room(plan)
    proud = [surface(wall, partial(level, 0.7 * n)) for n, wall in enumerate(sample.elevations.walls)]
    sample = Sample(sample.elevations, surfaces(*proud))
    rules = LayoutSettings.model_validate({"outside_corners": "mitre", "gaps": {"outside_corner": joint}})
    layout = lay_panels(sample.elevations, sample.surfaces, rules)
    slabs, mitred = mitred_slabs(sample, layout), 0
    bevel = 45.0 if plan is L_SHAPE else 22.5
    for wall, laid in zip(sample.elevations.walls, layout.walls, strict=True):
        balance = laid.balance
        parts = balance.panels + balance.joints + balance.gaps + balance.openings + balance.unclad
        assert parts == pytest.approx(balance.wall, abs=1.0)
        for edge in wall.edges:
            if edge.kind == "outside_corner" and edge.neighbour is not None:
                mitred += 1
                assert balance.beyond > 0.0
                assert any(m.bevel_deg == pytest.approx(bevel) for panel in laid.panels for m in panel.mitres)
                pairs = [(one, other) for one in slabs[wall.id] for other in slabs[edge.neighbour]]
                one, other = min(pairs, key=lambda pair: pair[0].distance(pair[1]))
                assert one.distance(other) == pytest.approx(joint, abs=1e-6)
                # Face's and back's edge are as far from the other panel: the bevels are parallel.
                ends = sorted(other.distance(shapely.Point(corner)) for corner in one.exterior.coords[:-1])[:2]
                assert ends == pytest.approx([joint, joint], abs=1e-6)
    assert mitred == (2 if plan is L_SHAPE else 4)


@pytest.mark.parametrize("lean_mm", [3.0, -3.0])
def test_a_mitre_at_a_leaning_edge_keeps_the_gaps_above_and_below(lean_mm: float) -> None:
    sample = room(L_SHAPE, lean_mm=lean_mm)
    layout = lay_panels(sample.elevations, sample.surfaces, LayoutSettings.model_validate({"outside_corners": "mitre"}))
    for laid in layout.walls[2:4]:
        for panel in laid.panels:
            assert panel.ring_mm[:, 1].max() <= 2700.0 - 6.35 + 1e-6
            assert panel.ring_mm[:, 1].min() >= 3.175 - 1e-6
        mitred = [panel for panel in laid.panels if panel.mitres]
        assert mitred
        reach = sum(float(np.ptp(panel.mitres[0].line_mm[:, 1])) for panel in mitred)
        assert reach == pytest.approx(2700.0 - 6.35 - 3.175, abs=20.0)


def test_a_mitre_needs_two_clad_walls() -> None:
    sample = room(L_SHAPE)
    rules = {"outside_corners": "mitre", "leave_out": ["W4"]}
    layout = lay_panels(sample.elevations, sample.surfaces, LayoutSettings.model_validate(rules))
    third = layout.walls[2]
    assert not any(panel.mitres for panel in third.panels)
    assert third.panels[-1].ring_mm[:, 0].max() == pytest.approx(3000.0 - 3.175, abs=1e-6)
