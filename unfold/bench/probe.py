"""One measured process: `python -m unfold.bench.probe decode|run|planes FILE` works, `run_probe` measures it."""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

PLANES = 6
PLANE_DISTANCE_M = 0.01
PLANE_ITERATIONS = 1000


@dataclass(frozen=True, slots=True)
class Probe:
    """Wall time and peak resident memory of one process."""

    seconds: float
    peak_mib: float


def run_probe(work: str, scan: Path) -> Probe:
    """Do one piece of work in a process of its own and return what it took; a failure is an error here.

    The work `planes` reports its own seconds, without decoding.
    """
    with tempfile.TemporaryFile() as said:
        start = time.perf_counter()
        process = subprocess.Popen([sys.executable, "-m", "unfold.bench.probe", work, str(scan)], stdout=said)
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            raise RuntimeError(f"{work} on {scan.name} ended with status {process.returncode}")
        said.seek(0)
        own = said.read().decode().strip()
    return Probe(float(own) if own else seconds, usage.ru_maxrss / 1024)


def decode(scan: Path) -> None:
    """Read the file with the scan stage's reader and touch every point once."""
    from unfold.scan import open_scan
    from unfold.settings.scan import ScanSettings

    total = 0.0
    with open_scan([scan], ScanSettings(unit="m")) as opened:
        for chunk in opened.decode():
            total += float(chunk.points_m.sum())
    assert total != 0.0


def run(scan: Path) -> None:
    """Do the whole main job into a temporary folder."""
    from unfold.job import run_job

    with tempfile.TemporaryDirectory() as folder:
        run_job([scan], Path(folder) / "job", unit="m")


def planes(scan: Path) -> None:
    """Find six planes the general-purpose way and print how many seconds that took."""
    import numpy as np

    from unfold.scan import open_scan
    from unfold.scan.open3d_library import load_open3d
    from unfold.settings.scan import ScanSettings

    open3d = load_open3d()
    with open_scan([scan], ScanSettings(unit="m")) as opened:
        points = np.concatenate([chunk.points_m for chunk in opened.chunks()]).astype(float)
    cloud = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points))
    open3d.utility.random.seed(0)
    start = time.perf_counter()
    for _ in range(PLANES):
        _, inside = cloud.segment_plane(PLANE_DISTANCE_M, 3, PLANE_ITERATIONS)
        cloud = cloud.select_by_index(inside, invert=True)
    print(time.perf_counter() - start)


if __name__ == "__main__":
    {"decode": decode, "run": run, "planes": planes}[sys.argv[1]](Path(sys.argv[2]))
