"""The pieces of work that are measured: `python -m unfold.bench.work decode|run|planes FILE`."""

import sys
import tempfile
import time
from pathlib import Path

PLANES = 6
PLANE_DISTANCE_M = 0.01
PLANE_ITERATIONS = 1000


def decode(scan: Path) -> None:
    """Read the file with the scan stage's own reader and touch every coordinate once."""
    from unfold.scan.detect import open_reader
    from unfold.settings.scan import ScanSettings

    total = 0.0
    for batch in open_reader(scan, ScanSettings()).batches():
        total += float(batch.x.sum()) + float(batch.y.sum()) + float(batch.z.sum())
    if total == 0.0:
        raise ValueError(f"{scan.name}: nothing was decoded")


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
