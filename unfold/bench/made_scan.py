"""A scan of any size for the benchmarks: a simulated rectangular hall with a doorway, seen from four stations."""

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np

from unfold.arrays import Floats
from unfold.bench.kernels import cast_rays

STATIONS_M = np.array([[2.0, 1.5, 1.5], [7.0, 1.6, 1.4], [7.2, 4.3, 1.6], [2.1, 4.2, 1.5]])
CHUNK = 1_000_000
NOISE_M = 0.001


def station_chunks(station: int, points: int) -> Iterator[Floats]:
    """Give about `points` points (n, 3) in metres that one station sees, column by column as a scanner turns."""
    rows = max(int(np.sqrt(points / 2)), 10)
    columns = points // rows
    random = np.random.default_rng(station)
    step = max(CHUNK // rows, 1)
    for first in range(0, columns, step):
        azimuth = 2 * np.pi * np.arange(first, min(first + step, columns)) / columns
        elevation = np.linspace(-np.radians(60), np.radians(89), rows)
        noise = random.normal(0.0, NOISE_M, (len(azimuth), rows))
        yield cast_rays(STATIONS_M[station], azimuth, elevation, noise)


def make_e57(path: Path, points: int) -> None:
    """Write a four-station E57 of about `points` points: cartesian, single precision, as scanners export."""
    import pye57
    from pye57 import libe57

    file = pye57.E57(str(path), mode="w")
    for station, position in enumerate(STATIONS_M):
        _write_station(file, libe57, station, position, points // len(STATIONS_M))
    file.close()


def _write_station(file: Any, libe57: Any, station: int, position: Floats, points: int) -> None:
    image = file.image_file
    node = libe57.StructureNode(image)
    node.set("guid", libe57.StringNode(image, f"{{made-{station}}}"))
    node.set("name", libe57.StringNode(image, f"station {station + 1} (made for a benchmark)"))
    node.set("pose", _pose(libe57, image, position))
    prototype = libe57.StructureNode(image)
    for axis in "XYZ":
        single = libe57.FloatNode(image, 0.0, libe57.FloatPrecision.E57_SINGLE, -100.0, 100.0)
        prototype.set(f"cartesian{axis}", single)
    codecs = libe57.VectorNode(image, True)
    vector = libe57.CompressedVectorNode(image, prototype, codecs)
    node.set("points", vector)
    file.data3d.append(node)
    columns = [np.empty(2 * CHUNK) for _ in range(3)]
    buffers = libe57.VectorSourceDestBuffer()
    for axis, column in zip("XYZ", columns, strict=True):
        buffers.append(libe57.SourceDestBuffer(image, f"cartesian{axis}", column, len(column), True, True))
    writer = vector.writer(buffers)
    for chunk in station_chunks(station, points):
        for axis_number, column in enumerate(columns):
            column[: len(chunk)] = chunk[:, axis_number] - position[axis_number]
        writer.write(len(chunk))
    writer.close()


def _pose(libe57: Any, image: Any, position: Floats) -> Any:
    pose = libe57.StructureNode(image)
    for group, names, values in (
        ("rotation", "wxyz", (1.0, 0.0, 0.0, 0.0)),
        ("translation", "xyz", tuple(float(value) for value in position)),
    ):
        part = libe57.StructureNode(image)
        for name, value in zip(names, values, strict=True):
            part.set(name, libe57.FloatNode(image, value))
        pose.set(group, part)
    return pose


def make_laz(path: Path, points: int) -> None:
    """Write a LAZ of about `points` points, to 0.1 mm, with metres stated in no coordinate system."""
    import laspy

    header = laspy.LasHeader(point_format=0, version="1.2")
    header.scales, header.offsets = np.full(3, 0.0001), np.zeros(3)
    with laspy.open(str(path), mode="w", header=header) as writer:
        for station in range(len(STATIONS_M)):
            for chunk in station_chunks(station, points // len(STATIONS_M)):
                record = laspy.ScaleAwarePointRecord.zeros(len(chunk), header=header)
                record.x, record.y, record.z = chunk.T
                writer.write_points(record)
