"""Write a simulated scan in the formats that scanners deliver."""

from collections.abc import Iterable
from pathlib import Path

import numpy as np

from tests.simulate.e57_writer import write_e57
from tests.simulate.scanner import StationScan
from unfold.arrays import Floats

METRES = {"m": 1.0, "mm": 1e-3, "ft": 0.3048}


def write_scan(path: Path, stations: Iterable[StationScan], description: str, unit: str = "m") -> int:
    """Write by the path's suffix (.e57, .ply, .xyz, .laz); returns how many points were written."""
    scans = list(stations)
    if path.suffix == ".e57":
        return write_e57(path, scans, description)
    points = np.concatenate([placed(scan) for scan in scans]) / METRES[unit]
    if path.suffix == ".ply":
        _write_ply(path, points, description)
    elif path.suffix == ".xyz":
        np.savetxt(path, points, fmt="%.5f")
    elif path.suffix in (".las", ".laz"):
        _write_las(path, points)
    else:
        raise ValueError(f"no writer for {path.suffix!r}")
    return len(points)


def placed(scan: StationScan) -> Floats:
    """A station's points in scan coordinates, metres."""
    return scan.points @ scan.turn.T + scan.position


def _write_ply(path: Path, points: Floats, description: str) -> None:
    header = (
        f"ply\nformat binary_little_endian 1.0\ncomment simulated: {description}\nelement vertex {len(points)}\n"
        "property double x\nproperty double y\nproperty double z\nend_header\n"
    )
    path.write_bytes(header.encode() + points.astype("<f8").tobytes())


def _write_las(path: Path, points: Floats) -> None:
    import laspy

    header = laspy.LasHeader(point_format=3, version="1.2")
    header.scales = np.full(3, 0.0001)
    header.offsets = np.floor(points.min(axis=0))
    cloud = laspy.LasData(header)
    cloud.x, cloud.y, cloud.z = points.T
    cloud.write(str(path))
