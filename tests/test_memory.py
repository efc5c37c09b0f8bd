"""What is freed goes back to the system, also between what is still in use."""

import subprocess
import sys

import pytest

HOLES = """
import sys
import numpy as np
from unfold.memory import give_back_freed
if sys.argv[1] == "yes":
    give_back_freed()
def resident_mib():
    with open("/proc/self/statm") as file:
        return int(file.read().split()[1]) * 4096 / 2**20
del (large := {"one": np.ones(30 << 17)})["one"]  # 30 MiB: from here on glibc by itself keeps what is smaller
arrays = [np.ones(6 << 17) for _ in range(40)]
full = resident_mib()
del arrays[::2]
print(full - resident_mib())
"""


@pytest.mark.skipif(sys.platform != "linux", reason="glibc's allocator")
def test_holes_between_arrays_are_given_back() -> None:
    freed = {
        asked: float(subprocess.run([sys.executable, "-c", HOLES, asked], capture_output=True, check=True).stdout)
        for asked in ("yes", "no")
    }
    assert freed["yes"] == pytest.approx(20 * 6, abs=5)  # every other one of 40 arrays of 6 MiB
    assert freed["no"] < 20  # else the setting would be needless
