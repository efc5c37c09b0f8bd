"""The length units of a LAS file, from the coordinate reference system in its variable length records."""

import re
from pathlib import Path
from typing import Any

from unfold.errors import ScanError
from unfold.scan.units import METRES_PER_UNIT
from unfold.settings.scan import LengthUnit

GEO_KEYS, WKT_RECORD = 34735, 2112  # ASPRS LAS 1.4 R15, section "Coordinate Reference System VLRs"
LINEAR_UNITS_KEY, VERTICAL_UNITS_KEY, PROJECTED_KEY, VERTICAL_KEY, MODEL_KEY = (
    3076,
    4099,
    3072,
    4096,
    1024,
)  # OGC 19-008
EPSG_UNITS: dict[int, LengthUnit] = {9001: "m", 9002: "ft", 9003: "us-ft"}
GEOGRAPHIC_MODEL = 2


def read_units(header: Any, path: Path) -> tuple[LengthUnit | None, float]:
    """Return the unit of x and y, None when none is stated, and the unit of z as a multiple of it."""
    records = [*header.vlrs, *(header.evlrs or [])]
    level: LengthUnit | None = None
    height: LengthUnit | None = None
    for record in records:
        if record.record_id == WKT_RECORD:
            level, height = _wkt_units(_wkt(record), path)
        elif record.record_id == GEO_KEYS and level is None:
            level, height = _key_units({key.id: key.value_offset for key in record.geo_keys}, path)
    if level is None or height is None:
        return level, 1.0
    return level, METRES_PER_UNIT[height] / METRES_PER_UNIT[level]


def _wkt(record: Any) -> str:
    return record.string if hasattr(record, "string") else bytes(record.record_data).decode("utf-8", "replace")


def _key_units(keys: dict[int, int], path: Path) -> tuple[LengthUnit | None, LengthUnit | None]:
    """Read GeoTIFF keys: the units themselves where given, else those of the EPSG codes."""
    if keys.get(MODEL_KEY) == GEOGRAPHIC_MODEL:
        raise _degrees(path)
    level = EPSG_UNITS.get(keys.get(LINEAR_UNITS_KEY, 0)) or _code_unit(keys.get(PROJECTED_KEY, 0), path)
    height = EPSG_UNITS.get(keys.get(VERTICAL_UNITS_KEY, 0)) or _code_unit(keys.get(VERTICAL_KEY, 0), path)
    return level, height


def _code_unit(code: int, path: Path) -> LengthUnit | None:
    """Return the unit of an EPSG code, None when it is not one of lengths or not known."""
    if not 1024 <= code < 32767:
        return None
    import pyproj

    try:
        axis = pyproj.CRS.from_epsg(code).axis_info[0]
    except (pyproj.exceptions.CRSError, IndexError):
        return None
    if "degree" in axis.unit_name:
        raise _degrees(path)
    return _by_factor(axis.unit_conversion_factor)


def _wkt_units(text: str, path: Path) -> tuple[LengthUnit | None, LengthUnit | None]:
    """Read the units of a WKT 1 or 2 text: the last length unit of the horizontal and of the vertical part."""
    vertical = re.search(r"VERT(?:_CS|ICALCRS|CRS)\s*[\[(]", text)
    before, after = (text[: vertical.start()], text[vertical.start() :]) if vertical else (text, "")
    level, height = _last_length(before), _last_length(after)
    if level is None and re.match(r"\s*(?:COMPD_CS\s*\[\s*\"[^\"]*\"\s*,\s*)?(?:GEOGCS|GEOGCRS|GEODCRS)", text):
        raise _degrees(path)
    return level, height


def _last_length(text: str) -> LengthUnit | None:
    """Return the last length unit that is not an ellipsoid's: WKT 2 puts one after the ellipsoid, in metres."""
    text = re.sub(r"(?:ELLIPSOID|SPHEROID)\s*\[(?:[^\[\]]|\[[^\[\]]*(?:\[[^\[\]]*\])?[^\[\]]*\])*\]", "", text)
    found: LengthUnit | None = None
    for name, factor in re.findall(r"UNIT\s*[\[(]\s*\"([^\"]*)\"\s*,\s*([0-9.eE+-]+)", text):
        unit = None if "degree" in name.lower() or "radian" in name.lower() else _by_factor(_float(factor))
        found = unit or found
    return found


def _float(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0


def _by_factor(metres: float) -> LengthUnit | None:
    """Return the unit that is so many metres long; feet and US survey feet differ by 2 parts in a million."""
    near = {unit: abs(metres / length - 1) for unit, length in METRES_PER_UNIT.items()}
    best = min(near, key=lambda unit: near[unit])
    return best if near[best] < 5e-7 else None


def _degrees(path: Path) -> ScanError:
    return ScanError(f"{path} has coordinates in degrees", "project the scan to a system in metres or feet")
