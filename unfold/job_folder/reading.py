"""A job folder becomes results again, so that the layout can be repeated without the scan."""

import json
from pathlib import Path
from typing import Any

import numpy as np

from unfold.elevation.result import Edge, Elevations, Opening, WallElevation
from unfold.errors import UnfoldError
from unfold.quantity import Quantity
from unfold.surface.result import Grid, Lump, RayCounts, Straightedge, Surfaces, WallSurface


def read_job(folder: Path) -> tuple[Elevations, Surfaces]:
    """Read elevations.json, flatness.json and surfaces/ of a job folder.

    Raises UnfoldError when a file is missing or is not what `unfold run` wrote.
    """
    try:
        elevations = _elevations(json.loads((folder / "elevations.json").read_text(encoding="utf-8")))
        surfaces = _surfaces(folder, json.loads((folder / "flatness.json").read_text(encoding="utf-8")))
    except OSError as error:
        what = f"{error.filename} cannot be read: {error.strerror}"
        raise UnfoldError(what, "make the job with `unfold run`") from error
    except (ValueError, KeyError, TypeError, EOFError) as error:
        raise UnfoldError(f"{folder} holds a damaged job ({error})", "make it again with `unfold run`") from error
    return elevations, surfaces


def _elevations(document: dict[str, Any]) -> Elevations:
    room = document["room"]
    return Elevations(
        walls=tuple(_wall(wall) for wall in document["walls"]),
        up_scan=np.array(room["up_scan"], dtype=float),
        scan_from_level=np.array(room["scan_from_level"], dtype=float),
        plumb_source=room["plumb_source"],
        plumb_standard_uncertainty_deg=room["plumb_standard_uncertainty_deg"],
        floor_area_mm2=room["floor_area_mm2"],
        findings=(),
    )


def _wall(wall: dict[str, Any]) -> WallElevation:
    frame, datum = wall["frame"], wall["datum"]
    radius = wall.get("radius_mm")
    return WallElevation(
        id=wall["id"],
        origin_scan_m=np.array(frame["origin_scan_m"], dtype=float),
        right=np.array(frame["right"], dtype=float),
        up=np.array(frame["up"], dtype=float),
        inward=np.array(frame["inward"], dtype=float),
        shape=wall["shape"],
        radius_mm=None if radius is None else radius * (1 if wall["curvature"] == "concave" else -1),
        outline_mm=_ring(wall["outline"]),
        edges=tuple(Edge(**{name: edge[name] for name in Edge.__slots__}) for edge in wall["edges"]),
        openings=tuple(_opening(opening) for opening in wall["openings"]),
        unseen_mm=tuple(_ring(ring) for ring in wall["unseen"]),
        area_mm2=wall["area_mm2"],
        seen_share=wall["seen_share"],
        level_v_mm=datum["level_v_mm"],
        plumb_u_mm=datum["plumb_u_mm"],
        loop=wall["loop"],
    )


def _ring(points: list[list[float]]) -> "np.ndarray[Any, np.dtype[np.float64]]":
    return np.array(points, dtype=float).reshape(-1, 2)


def _opening(opening: dict[str, Any]) -> Opening:
    clear = opening.get("clear_ring")
    return Opening(
        id=opening["id"],
        kind=opening["kind"],
        ring_mm=_ring(opening["ring"]),
        shape=opening["shape"],
        size_mm=tuple(opening["size_mm"]),
        depth_mm=opening["depth_mm"],
        evidence=opening["evidence"],
        standard_uncertainty_mm=opening["standard_uncertainty_mm"],
        clear_ring_mm=None if clear is None else _ring(clear),
    )


def _surfaces(folder: Path, document: dict[str, Any]) -> Surfaces:
    walls = tuple(_surface(folder, wall) for wall in document["walls"])
    return Surfaces(tolerance_set=document["tolerance_set"], walls=walls, findings=())


def _surface(folder: Path, wall: dict[str, Any]) -> WallSurface:
    with np.load(folder / wall["surface"]) as arrays:
        rows, columns = arrays["height_mm"].shape
        grid = Grid(float(arrays["u0_mm"]), float(arrays["v0_mm"]), float(arrays["cell_mm"]), rows, columns)
        rays = RayCounts(
            hit=arrays["hit"],
            recess=arrays["recess"],
            through=arrays["through"],
            proud=arrays["proud"],
            blocked=arrays["blocked"],
            recess_depth_mm=arrays["recess_depth_mm"].astype(float),
        )
        maps = [arrays[name].astype(float) for name in ("height_mm", "standard_error_mm")]
        count, is_wall = arrays["count"], arrays["is_wall"]
    return WallSurface(
        wall["id"], grid, maps[0], maps[1], count, is_wall, rays,
        noise_mm=wall["noise_mm"],
        registration_mm=wall["registration_mm"],
        lean_mm_per_m=_quantity(wall, "lean", "_mm_per_m"),
        bow_horizontal_mm=_quantity(wall, "bow_horizontal", "_mm"),
        bow_vertical_mm=_quantity(wall, "bow_vertical", "_mm"),
        flatness_least_squares_mm=wall["flatness_least_squares_mm"],
        flatness_minimum_zone_mm=wall["flatness_minimum_zone_mm"],
        straightedges=tuple(_straightedge(entry) for entry in wall["straightedge"]),
        verdict=wall["verdict"],
        uncertainty_parts=wall["uncertainty_parts_mm"],
        lumps=tuple(_lump(entry) for entry in wall.get("lumps", ())),
        smallest_lumps=tuple((entry["across_mm"], entry["height_mm"]) for entry in wall.get("smallest_lumps", ())),
    )  # fmt: skip


def _lump(entry: dict[str, Any]) -> Lump:
    return Lump(
        entry["at"]["u"],
        entry["at"]["v"],
        entry["across_mm"],
        entry["flat_share"],
        entry["height_mm"],
        entry["standard_uncertainty_mm"],
        entry["doubtful"],
    )


def _quantity(wall: dict[str, Any], name: str, unit: str) -> Quantity | None:
    value = wall[f"{name}{unit}"]
    return None if value is None else Quantity(value, wall[f"{name}_standard_uncertainty{unit}"])


def _straightedge(entry: dict[str, Any]) -> Straightedge:
    at = entry["at"] or {"u": None, "v": None, "angle_deg": None}
    worst = entry["worst_mm"]
    return Straightedge(
        rule=entry["rule"],
        length_mm=entry["length_mm"],
        tolerance_mm=entry["tolerance_mm"],
        worst=None if worst is None else Quantity(worst, entry["standard_uncertainty_mm"]),
        u_mm=at["u"],
        v_mm=at["v"],
        angle_deg=at["angle_deg"],
        used_length_mm=entry["used_length_mm"],
        share_over=entry["share_over"],
        verdict=entry["verdict"],
        template_radius_mm=entry.get("template_radius_mm"),
    )
