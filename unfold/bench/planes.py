"""The general-purpose way to find the planes of a room, as a yardstick: RANSAC on all points, plane after plane."""

import time
from pathlib import Path

import numpy as np

PLANES = 6
PLANE_DISTANCE_M = 0.01
PLANE_SAMPLE = 3
PLANE_ITERATIONS = 1000


def six_planes(scan: Path) -> tuple[float, float]:
    """Return the seconds, and those of processor, that six calls of Open3D's `segment_plane` take without decoding."""
    from unfold.scan import open_scan
    from unfold.scan.open3d_library import load_open3d
    from unfold.settings.scan import ScanSettings

    open3d = load_open3d()
    with open_scan([scan], ScanSettings(unit="m")) as opened:
        points = np.concatenate([chunk.points_m for chunk in opened.chunks()]).astype(float)
    cloud = open3d.geometry.PointCloud(open3d.utility.Vector3dVector(points))
    open3d.utility.random.seed(0)
    start = time.perf_counter(), time.process_time()
    for _ in range(PLANES):
        _, inside = cloud.segment_plane(PLANE_DISTANCE_M, PLANE_SAMPLE, PLANE_ITERATIONS)
        cloud = cloud.select_by_index(inside, invert=True)
    return time.perf_counter() - start[0], time.process_time() - start[1]
