"""Read cut files again after writing and compare them with the layout: what differs is refused.

The reader here is a few lines over the format's pairs of group code and value, apart from the library that wrote them.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from unfold.arrays import Floats
from unfold.drawing.curve import distances_to_ring_mm, flatten_path, path_area_mm2, path_length_mm
from unfold.drawing.cut_outline import CutOutline
from unfold.errors import UnfoldError

FLATTENED_MM = 0.001
ROUNDING_MM = 1e-6
REMEDY = "the file was not kept: please report this job's layout.json as a fault"


def closed_paths(path: Path, layer: str) -> list[Floats]:
    """Read the closed polylines on a layer of a DXF file, each as rows of x, y, bulge.

    Raises UnfoldError when a polyline on that layer is open.
    """
    found: list[Floats] = []
    for entity in _polylines(path):
        if ("8", layer) not in entity:
            continue
        flags = next((int(value) for code, value in entity if code == "70"), 0)
        if not flags & 1:
            raise UnfoldError(f"{path.name}: an outline on layer {layer} is open", REMEDY)
        rows: list[list[float]] = []
        for code, value in entity:
            if code == "10":
                rows.append([float(value), 0.0, 0.0])
            elif code in ("20", "42") and rows:
                rows[-1][1 if code == "20" else 2] = float(value)
        found.append(np.array(rows))
    return found


def _polylines(path: Path) -> list[list[tuple[str, str]]]:
    lines = [line.strip() for line in path.read_text(encoding="utf-8").splitlines()]
    entities: list[list[tuple[str, str]]] = []
    current: list[tuple[str, str]] | None = None
    for code, value in zip(lines[::2], lines[1::2], strict=True):
        if code == "0":
            current = [] if value == "LWPOLYLINE" else None
            if current is not None:
                entities.append(current)
        elif current is not None:
            current.append((code, value))
    return entities


def check_cut_file(path: Path, outlines: list[CutOutline], tolerance_mm: float) -> None:
    """Compare the closed outlines on layer CUT with the rings that they stand for, in order.

    Raises UnfoldError naming the file and the difference: number, area, bounds or distance.
    """
    rings = [ring for outline in outlines for ring in outline.rings]
    paths = closed_paths(path, "CUT")
    if len(paths) != len(rings):
        raise UnfoldError(f"{path.name} holds {len(paths)} outlines, the layout {len(rings)}", REMEDY)
    for number, (read, ring) in enumerate(zip(paths, rings, strict=True), start=1):
        difference = _difference(read, ring, tolerance_mm + ROUNDING_MM)
        if difference:
            raise UnfoldError(f"{path.name}, outline {number}: {difference}", REMEDY)


def _difference(path: Floats, ring: Floats, tolerance_mm: float) -> str:
    """Say in what a path differs from its ring by more than the tolerance; nothing when it does not."""
    area = 0.5 * float(np.sum(ring[:, 0] * np.roll(ring[:, 1], -1) - np.roll(ring[:, 0], -1) * ring[:, 1]))
    off = abs(path_area_mm2(path) - area)
    if off > tolerance_mm * path_length_mm(path):
        return f"its area differs by {off:.1f} mm2"
    flat = flatten_path(path, FLATTENED_MM)
    bounds = np.abs([flat.min(axis=0) - ring.min(axis=0), flat.max(axis=0) - ring.max(axis=0)]).max()
    if bounds > tolerance_mm:
        return f"its bounds differ by {bounds:.3f} mm"
    farthest = distances_to_ring_mm(ring, flat).max()
    if farthest > tolerance_mm + FLATTENED_MM:
        return f"it leaves the panel's ring by {farthest:.3f} mm"
    return ""


def check_sheet(
    name: str, panels: Sequence[Sequence[Floats]], size_mm: tuple[float, float], kerf_mm: float, tolerance_mm: float
) -> None:
    """Compare the panels of a sheet with each other and with the sheet; a panel may lie in another one's cutout.

    Each panel is its rings (n, 2), the outline first, then its cutouts.

    Raises UnfoldError when one leaves the sheet, or two overlap or leave no kerf between them.
    """
    slack = tolerance_mm + ROUNDING_MM
    for ring, *_ in panels:
        if np.any(ring < -slack) or np.any(ring > np.array(size_mm) + slack):
            raise UnfoldError(f"{name}: a panel leaves the sheet", REMEDY)
    reach = kerf_mm - slack
    bounds = [(ring.min(axis=0), ring.max(axis=0)) for ring, *_ in panels]
    for number, (least, most) in enumerate(bounds):
        for other, (below, above) in enumerate(bounds[:number]):
            if np.all(least < above + reach) and np.all(below < most + reach):
                _check_apart(name, panels[number], panels[other], kerf_mm, slack)


def _check_apart(name: str, one: Sequence[Floats], other: Sequence[Floats], kerf_mm: float, slack_mm: float) -> None:
    import shapely

    first, second = (shapely.make_valid(shapely.Polygon(rings[0], rings[1:])) for rings in (one, other))
    if shapely.area(shapely.intersection(first, second)) > slack_mm * shapely.length(first):
        raise UnfoldError(f"{name}: two panels overlap", REMEDY)
    if shapely.distance(first, second) < kerf_mm - slack_mm:
        raise UnfoldError(f"{name}: two panels leave no kerf between them", REMEDY)
