"""Coordinates that were rounded: found from the points themselves, whatever the format, and warned of."""

from pathlib import Path

import numpy as np
import pytest

from tests.scan.rooms import box_points, read_all
from unfold.scan.rounding import rounding_step

POINTS = box_points(6000)


@pytest.mark.parametrize("step", [0.01, 0.001, 0.5, 2.0**-12])
def test_the_step_is_found_on_each_axis_that_is_rounded(step: float) -> None:
    points = POINTS.copy()
    points[:, 1] = np.round(points[:, 1] / step) * step
    assert rounding_step(points) == pytest.approx([0.0, step, 0.0], abs=1e-12)


def test_decimals_of_a_text_are_warned_of(tmp_path: Path) -> None:
    np.savetxt(tmp_path / "a.txt", POINTS, "%.2f")
    np.savetxt(tmp_path / "b.txt", POINTS, "%.3f")
    coarse, fine = read_all([tmp_path / "a.txt"]), read_all([tmp_path / "b.txt"])
    assert any("steps of 10 mm" in finding.text for finding in coarse.findings)
    assert not any(finding.code == "coarse-coordinates" for finding in fine.findings)


def test_single_precision_far_from_zero_is_warned_of(tmp_path: Path) -> None:
    # at 4.8 million metres neighbouring float32 numbers are half a metre apart (IEEE 754)
    header = "ply\nformat binary_little_endian 1.0\nelement vertex {}\n{}end_header\n"
    names = "".join(f"property float {name}\n" for name in "xyz")
    far = (POINTS + np.array([633_000.0, 4_800_000.0, 200.0])).astype("<f4")
    (tmp_path / "a.ply").write_bytes(header.format(len(far), names).encode() + far.tobytes())
    (tmp_path / "b.ply").write_bytes(header.format(len(far), names).encode() + POINTS.astype("<f4").tobytes())
    assert any("steps of 500 mm" in finding.text for finding in read_all([tmp_path / "a.ply"]).findings)
    assert not any(finding.code == "coarse-coordinates" for finding in read_all([tmp_path / "b.ply"]).findings)
