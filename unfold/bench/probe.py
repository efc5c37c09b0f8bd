"""The measuring of one piece of work in a process of its own."""

import os
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Probe:
    """What one process took; what works report of themselves are seconds without decoding."""

    seconds: float  # wall time
    processor_s: float  # user and system time of all its threads and of the processes that it started
    peak_mib: float  # resident memory
    reported_s: tuple[float, ...]


def run_probe(work: str, scan: Path) -> Probe:
    """Do one piece of work in a process of its own and return what it took; a failure is an error here.

    `work` is one of `unfold.bench.work`, or "run": the whole main job, `unfold run`, into a temporary folder.
    """
    with tempfile.TemporaryFile() as said, tempfile.TemporaryDirectory() as folder:
        command = ["unfold.bench.work", work, str(scan)]
        if work == "run":
            command = ["unfold", "run", str(scan), "--out", str(Path(folder) / "job"), "--unit", "m"]
        start = time.perf_counter()
        process = subprocess.Popen([sys.executable, "-m", *command], stdout=said)
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            raise RuntimeError(f"{work} on {scan.name} ended with status {process.returncode}")
        said.seek(0)
        reported = tuple(float(word) for word in said.read().decode().split()) if work != "run" else ()
    return Probe(seconds, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024, reported)
