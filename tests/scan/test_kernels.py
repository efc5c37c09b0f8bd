"""Each compiled loop against its plain NumPy or Python twin, and with the compiler off."""

import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.scan.rooms import box_points
from tests.scan.write_e57 import cartesian, write_e57
from tests.scan.write_pcd import pack_lzf
from unfold.arrays import AnyArray, Floats
from unfold.scan import kernels
from unfold.scan.e57_pages import crc_tables, pages_are_sound
from unfold.scan.number_text import Layout

BOTH = pytest.mark.parametrize(
    "kernel_of", [lambda kernel: kernel, lambda kernel: kernel.py_func], ids=["fast", "plain"]
)
KernelOf = Callable[[Any], Any]


@BOTH
@pytest.mark.parametrize("kind", ["f8", "f4", "i4"])
def test_place(kernel_of: KernelOf, kind: str) -> None:
    generator = np.random.default_rng(4)
    raw = (generator.uniform(-9, 9, (500, 3)) * 100).astype(kind)
    raw[::50] = 0
    if kind != "i4":
        raw[7::60] = np.nan
        raw[11, 1] = np.inf
    drop = (np.arange(500) % 9 == 0).astype(np.int8)
    matrix = generator.normal(size=(3, 4))
    station, near = matrix @ [*raw[20].astype(float), 1.0], 30.0
    out, counts, bounds = np.zeros((500, 3), np.float32), np.zeros(3, np.int64), np.array([[np.inf] * 3, [-np.inf] * 3])
    x, y, z = raw.T
    found = kernel_of(kernels.place)(x, y, z, drop, True, matrix, station, near, out, counts, bounds)

    kept = raw[drop == 0].astype(np.float64)
    zero = (kept == 0).all(axis=1)
    finite = np.isfinite(kept).all(axis=1)
    placed = kept[finite & ~zero] @ matrix[:, :3].T + matrix[:, 3]
    close = np.linalg.norm(placed - station, axis=1) < near
    assert counts.tolist() == [int((~finite).sum()), int(zero.sum()), int(close.sum())] and close.any()
    np.testing.assert_allclose(out[:found], placed[~close], rtol=1e-6, atol=1e-4)
    np.testing.assert_allclose(bounds, [placed[~close].min(axis=0), placed[~close].max(axis=0)], rtol=1e-12)


@BOTH
def test_spherical(kernel_of: KernelOf) -> None:
    # ISO 80000-2 with the elevation counted from the xy plane (ASTM E2807): (1, 90 deg, 30 deg) is (0, cos 30, sin 30)
    reach, azimuth, elevation = np.array([1.0, 2.0]), np.radians([90.0, 180.0]), np.radians([30.0, -90.0])
    kernel_of(kernels.from_spherical)(reach, azimuth, elevation)
    np.testing.assert_allclose([reach, azimuth, elevation], [[0, 0], [np.sqrt(0.75), 0], [0.5, -2]], atol=1e-15)


NUMBERS = [
    *("0", "-0", "1", "+1", "00012", "12.5", "-.5", "5.", "1e3", "1E-3", "-1.25e+02", "0.1", "1e22", "1e-22"),
    *("123456789.123456789", "9007199254740993", "123456.7890123456789012345678901234567890"),
]
NO_NUMBERS = ["", "-", ".", "e5", "1e", "1e+", "1.2.3", "0x10", "1,5", "nan", "x1", "--1", "1-"]


@BOTH
@pytest.mark.parametrize("text", NUMBERS)
def test_numbers_are_read_as_python_reads_them(kernel_of: KernelOf, text: str) -> None:
    found = kernel_of(kernels.parse_number)(np.frombuffer(text.encode(), np.uint8), 0, len(text), ord("."))
    assert found == pytest.approx(float(text), rel=4e-16)


@BOTH
@pytest.mark.parametrize("text", NO_NUMBERS)
def test_what_is_no_number_is_nan(kernel_of: KernelOf, text: str) -> None:
    assert np.isnan(kernel_of(kernels.parse_number)(np.frombuffer(text.encode(), np.uint8), 0, len(text), ord(".")))


def test_coordinates_with_up_to_fifteen_digits_are_exact() -> None:
    generator = random.Random(5)
    for _ in range(3000):
        text = f"{generator.uniform(-1e7, 1e7):.{generator.randint(0, 7)}f}"
        assert kernels.parse_number(np.frombuffer(text.encode(), np.uint8), 0, len(text), ord(".")) == float(text)


@BOTH
def test_rows(kernel_of: KernelOf) -> None:
    text = b"9 1.5 2.5 3.5\n\n# note\n8;4,5;6\n7 7 8 9 10\r\nv 1 2 3\n6 x 1 2"
    out = np.zeros((10, 3))
    arguments = np.array([1, 2, 3]), Layout().table(), ord(".")
    whole = np.frombuffer(text, np.uint8)
    rows, passed, end = kernel_of(kernels.parse_rows)(whole, 0, *arguments, 0, 100, out)
    wanted = [[1.5, 2.5, 3.5], [4, 5, 6], [7, 8, 9], [1, 2, 3], [np.nan, 1, 2]]
    np.testing.assert_array_equal(out[:rows], wanted)
    assert (passed, end) == (1, len(text))
    rows, passed, end = kernel_of(kernels.parse_rows)(whole, 0, *arguments, ord("v"), 100, out)
    assert (rows, passed) == (1, 0) and out[0].tolist() == [1, 2, 3]
    rows, passed, end = kernel_of(kernels.parse_rows)(whole, 0, *arguments, 0, 1, out)
    assert (rows, end) == (1, 14)


@BOTH
@pytest.mark.parametrize("block", [40, 100, 10_000])
def test_lzf_in_any_blocks_gives_the_bytes_back(kernel_of: KernelOf, block: int) -> None:
    generator = np.random.default_rng(6)
    data = bytes(generator.integers(0, 3, 3000, np.uint8)) + generator.bytes(1000) + b"a" * 2000
    packed, found, rest = pack_lzf(data), b"", b""
    out = np.zeros((1 << 13) + 600, np.uint8)
    for start in range(0, len(packed), block):
        rest, last = rest + packed[start : start + block], start + block >= len(packed)
        while rest:
            text = np.frombuffer(rest, np.uint8)
            used, end = kernel_of(kernels.expand_lzf)(text, last, out, 1 << 13, min(len(found), 1 << 13))
            assert end >= 0
            found += out[1 << 13 : end].tobytes()
            out[: 1 << 13] = out[end - (1 << 13) : end].copy()
            rest = rest[used:]
            if used == 0:
                break
    assert found == data


@BOTH
def test_repeats_go_and_the_order_stays(kernel_of: KernelOf) -> None:
    points = np.random.default_rng(7).integers(0, 5, (800, 3)).astype(np.float32)
    _, first = np.unique(points, axis=0, return_index=True)
    wanted = points[np.sort(first)]
    with np.errstate(over="ignore"):  # the mixing of bits wraps around on purpose
        count = kernel_of(kernels.drop_repeats)(points, points.view(np.uint32), np.empty(2048, np.int64))
    np.testing.assert_array_equal(points[:count], wanted)


def pierced(corners: Floats, spacing: float, shift: float) -> Floats:
    """Return where grid lines pierce a triangle, by trying all of them with barycentric coordinates."""
    normal = np.cross(corners[1] - corners[0], corners[2] - corners[0])
    axis = int(np.argmax(np.abs(normal)))
    flat = [(axis + 1) % 3, (axis + 2) % 3]
    lines = (np.arange(-200, 200) + shift) * spacing
    places = np.stack(np.meshgrid(lines, lines, indexing="ij"), -1).reshape(-1, 2)
    edges = (corners[1:] - corners[0])[:, flat].T
    weights = np.linalg.solve(edges, (places - corners[0, flat]).T).T
    inside = (weights >= 0).all(axis=1) & (weights.sum(axis=1) <= 1)
    found: Floats = corners[0] + weights[inside] @ (corners[1:] - corners[0])
    return found


@BOTH
def test_points_on_triangles(kernel_of: KernelOf) -> None:
    corners = np.random.default_rng(8).uniform(-1, 1, (12, 3, 3))
    wanted = np.concatenate([pierced(triangle, 0.03, 0.38) for triangle in corners])
    for size in (64, 100_000):
        state, pieces = np.zeros(3, np.int64), list[AnyArray]()
        while True:
            out = np.empty((size, 3))
            count = kernel_of(kernels.spread_points)(corners, 0.03, 0.38, state, out)
            pieces.append(out[:count])
            if count < size:
                break
        np.testing.assert_allclose(np.concatenate(pieces), wanted, atol=1e-12)


def test_place_reads_unaligned_columns_as_packed_las_records_have_them() -> None:
    records = np.zeros(100, np.dtype([("a", "u1"), ("X", "<i4"), ("Y", "<i4"), ("Z", "<i4")]))
    for name in "XYZ":
        records[name] = np.arange(1, 101)
    out, counts, bounds = np.zeros((100, 3), np.float32), np.zeros(3, np.int64), np.array([[np.inf] * 3, [-np.inf] * 3])
    matrix = np.hstack((np.eye(3), np.zeros((3, 1))))
    x, y, z = (records[name] for name in "XYZ")
    assert kernels.place(x, y, z, kernels.NO_DROP, False, matrix, np.zeros(3), 0.0, out, counts, bounds) == 100
    np.testing.assert_array_equal(out, np.arange(1, 101)[:, None] * np.ones(3))


# RFC 3720 (iSCSI), appendix B.4, and the check value of the CRC catalogue for "123456789"
@BOTH
@pytest.mark.parametrize(
    ("data", "crc"),
    [
        (bytes(32), 0x8A9136AA),
        (b"\xff" * 32, 0x62A8AB43),
        (bytes(range(32)), 0x46DD794E),
        (bytes(range(31, -1, -1)), 0x113FDB5C),
        (b"123456789", 0xE3069283),
    ],
)
def test_crc32c_against_published_values(kernel_of: KernelOf, data: bytes, crc: int) -> None:
    assert int(kernel_of(kernels.crc32c)(np.frombuffer(data, np.uint8), 0, len(data), crc_tables())) == crc


def test_pages_of_a_file_that_libe57_wrote(tmp_path: Path) -> None:
    write_e57(tmp_path / "a.e57", [{"fields": cartesian(box_points(3000))}])
    assert pages_are_sound(tmp_path / "a.e57")
    data = np.fromfile(tmp_path / "a.e57", np.uint8)
    for place in (5, 1023, 1024, 40_000, len(data) - 1):
        broken = data.copy()
        broken[place] ^= 1
        assert kernels.first_broken_page(broken, crc_tables()) == place // 1024
        assert kernels.first_broken_page.py_func(broken[:41_000], crc_tables()) in (place // 1024, -1)
    (tmp_path / "b.e57").write_bytes(data.tobytes()[:-10])
    assert not pages_are_sound(tmp_path / "b.e57")


def test_box_points_lie_on_a_box() -> None:
    points = np.abs(box_points(1000)) / np.array([2.5, 2.0, 1.35])
    np.testing.assert_allclose(points.max(axis=1), 1)
