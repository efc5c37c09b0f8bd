"""Results become the job folder's JSON files and arrays; each file is checked against its published schema."""

import json
import zipfile
from collections.abc import Sequence
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from io import BytesIO
from pathlib import Path
from typing import Any

import numpy as np

from unfold.arrays import AnyArray
from unfold.elevation.result import Elevations, Opening, WallElevation
from unfold.job_folder.json_text import json_text, plain
from unfold.layout.result import Layout
from unfold.layout.to_json import layout_json
from unfold.quantity import Quantity
from unfold.scan.result import Source
from unfold.settings import JobSettings
from unfold.settings.document import settings_toml
from unfold.surface.result import Lump, Straightedge, Surfaces, WallSurface

VECTOR_DECIMALS = 12


def write_elevations(elevations: Elevations, sources: Sequence[Source], folder: Path) -> None:
    """Write elevations.json."""
    document = {
        "format": "unfold-elevations",
        "version": 1,
        "room": {
            "up_scan": plain(elevations.up_scan, VECTOR_DECIMALS),
            "scan_from_level": plain(elevations.scan_from_level, VECTOR_DECIMALS),
            "plumb_source": elevations.plumb_source,
            "plumb_standard_uncertainty_deg": elevations.plumb_standard_uncertainty_deg,
            "floor_area_mm2": elevations.floor_area_mm2,
        },
        "sources": [asdict(source) for source in sources],
        "walls": [_wall(wall) for wall in elevations.walls],
    }
    _write("elevations", document, folder)


def _wall(wall: WallElevation) -> dict[str, Any]:
    curved: dict[str, Any] = {}
    if wall.radius_mm is not None:
        curved = {"radius_mm": abs(wall.radius_mm), "curvature": "concave" if wall.radius_mm > 0 else "convex"}
    return {
        "id": wall.id,
        "frame": {
            "origin_scan_m": plain(wall.origin_scan_m, 7),
            "right": plain(wall.right, VECTOR_DECIMALS),
            "up": plain(wall.up, VECTOR_DECIMALS),
            "inward": plain(wall.inward, VECTOR_DECIMALS),
        },
        "shape": wall.shape,
        **curved,
        "loop": wall.loop,
        "outline": wall.outline_mm,
        "edges": [asdict(edge) for edge in wall.edges],
        "openings": [_opening(opening) for opening in wall.openings],
        "unseen": list(wall.unseen_mm),
        "area_mm2": wall.area_mm2,
        "seen_share": wall.seen_share,
        "datum": {"level_v_mm": wall.level_v_mm, "plumb_u_mm": wall.plumb_u_mm},
    }


def _opening(opening: Opening) -> dict[str, Any]:
    clear = {} if opening.clear_ring_mm is None else {"clear_ring": opening.clear_ring_mm}
    return {
        "id": opening.id,
        "kind": opening.kind,
        "ring": opening.ring_mm,
        **clear,
        "shape": opening.shape,
        "size_mm": opening.size_mm,
        "depth_mm": opening.depth_mm,
        "evidence": opening.evidence,
        "standard_uncertainty_mm": opening.standard_uncertainty_mm,
    }


def write_flatness(surfaces: Surfaces, folder: Path) -> None:
    """Write flatness.json and surfaces/*.npz."""
    (folder / "surfaces").mkdir(exist_ok=True)
    for surface in surfaces.walls:
        _write_surface(surface, folder / "surfaces" / f"{surface.wall}.npz")
    document = {
        "format": "unfold-flatness",
        "version": 1,
        "tolerance_set": surfaces.tolerance_set,
        "walls": [_flatness(surface) for surface in surfaces.walls],
    }
    _write("flatness", document, folder)


def _flatness(surface: WallSurface) -> dict[str, Any]:
    return {
        "id": surface.wall,
        "surface": f"surfaces/{surface.wall}.npz",
        "noise_mm": surface.noise_mm,
        "registration_mm": surface.registration_mm,
        **_measured("lean", "_mm_per_m", surface.lean_mm_per_m),
        **_measured("bow_horizontal", "_mm", surface.bow_horizontal_mm),
        **_measured("bow_vertical", "_mm", surface.bow_vertical_mm),
        "flatness_least_squares_mm": surface.flatness_least_squares_mm,
        "flatness_minimum_zone_mm": surface.flatness_minimum_zone_mm,
        "straightedge": [_straightedge(straightedge) for straightedge in surface.straightedges],
        "uncertainty_parts_mm": dict(surface.uncertainty_parts),
        "lumps": [_lump(lump) for lump in surface.lumps],
        "smallest_lumps": [{"across_mm": across, "height_mm": height} for across, height in surface.smallest_lumps],
        "verdict": surface.verdict,
    }


def _measured(name: str, unit: str, quantity: Quantity | None) -> dict[str, float | None]:
    return {
        f"{name}{unit}": None if quantity is None else quantity.value,
        f"{name}_standard_uncertainty{unit}": None if quantity is None else quantity.standard_uncertainty,
    }


def _straightedge(straightedge: Straightedge) -> dict[str, Any]:
    worst = straightedge.worst
    return {
        "length_mm": straightedge.length_mm,
        "tolerance_mm": straightedge.tolerance_mm,
        "rule": straightedge.rule,
        "worst_mm": None if worst is None else worst.value,
        "standard_uncertainty_mm": None if worst is None else worst.standard_uncertainty,
        "at": None
        if straightedge.u_mm is None
        else {"u": straightedge.u_mm, "v": straightedge.v_mm, "angle_deg": straightedge.angle_deg},
        "used_length_mm": straightedge.used_length_mm,
        "share_over": straightedge.share_over,
        "template_radius_mm": straightedge.template_radius_mm,
        "verdict": straightedge.verdict,
    }


def _lump(lump: Lump) -> dict[str, Any]:
    return {
        "at": {"u": lump.u_mm, "v": lump.v_mm},
        "across_mm": lump.across_mm,
        "flat_share": lump.flat_share,
        "height_mm": lump.height_mm,
        "standard_uncertainty_mm": lump.standard_uncertainty_mm,
        "doubtful": lump.doubtful,
    }


def _write_surface(surface: WallSurface, path: Path) -> None:
    """Write one wall's arrays, packed at zlib's fastest level: a third of the time of the usual one, a tenth larger."""
    rays, grid = surface.rays, surface.grid
    arrays: dict[str, AnyArray] = {
        "height_mm": surface.height_mm.astype(np.float32),
        "standard_error_mm": surface.standard_error_mm.astype(np.float32),
        "count": surface.count,
        "is_wall": surface.is_wall,
        "u0_mm": np.array(grid.u0_mm),
        "v0_mm": np.array(grid.v0_mm),
        "cell_mm": np.array(grid.cell_mm),
        "hit": rays.hit,
        "recess": rays.recess,
        "through": rays.through,
        "proud": rays.proud,
        "blocked": rays.blocked,
        "recess_depth_mm": rays.recess_depth_mm.astype(np.float32),
    }
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive:
        for name, array in arrays.items():
            packed = BytesIO()
            np.lib.format.write_array(packed, np.ascontiguousarray(array) if array.ndim else array)
            entry = zipfile.ZipInfo(f"{name}.npy")  # carries a fixed date: equal runs write equal files
            archive.writestr(entry, packed.getvalue(), zipfile.ZIP_DEFLATED, 1)


def write_layout(layout: Layout, folder: Path) -> None:
    """Write layout.json."""
    _write("layout", layout_json(layout), folder)


def write_settings(settings: JobSettings, folder: Path) -> None:
    """Write job.toml: every setting as used, so that the job can be repeated."""
    (folder / "job.toml").write_text(settings_toml(settings), encoding="utf-8")


def _write(name: str, document: dict[str, Any], folder: Path) -> None:
    ready = _rounded(plain(document, VECTOR_DECIMALS)) if name == "elevations" else plain(document)
    text = json_text(ready)
    error = next(_validator(name).iter_errors(json.loads(text)), None)
    if error is not None:
        raise ValueError(f"{name}.json does not keep its schema: {error.message} at {list(error.instance_path)}")
    (folder / f"{name}.json").write_text(text, encoding="utf-8")


def _rounded(document: dict[str, Any]) -> dict[str, Any]:
    """Round the walls' lengths; frames and the room's transform keep the digits that they came with."""
    walls = document["walls"]
    for wall in walls:
        for key in wall:
            if key != "frame":
                wall[key] = plain(wall[key])
    return document


@cache
def _validator(name: str) -> Any:
    import jsonschema_rs

    schema = json.loads(files("unfold.schemas").joinpath(f"unfold-{name}.schema.json").read_text(encoding="utf-8"))
    return jsonschema_rs.Draft202012Validator(schema)
