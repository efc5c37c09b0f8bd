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
    """Wall time and peak resident memory of one process."""

    seconds: float
    peak_mib: float


def run_probe(work: str, scan: Path) -> Probe:
    """Do one piece of work in a process of its own and return what it took; a failure is an error here.

    The work `planes` reports its own seconds, without decoding.
    """
    with tempfile.TemporaryFile() as said:
        start = time.perf_counter()
        process = subprocess.Popen([sys.executable, "-m", "unfold.bench.work", work, str(scan)], stdout=said)
        _, status, usage = os.wait4(process.pid, 0)
        seconds = time.perf_counter() - start
        process.returncode = os.waitstatus_to_exitcode(status)
        if process.returncode != 0:
            raise RuntimeError(f"{work} on {scan.name} ended with status {process.returncode}")
        said.seek(0)
        own = said.read().decode().strip()
    return Probe(float(own) if own else seconds, usage.ru_maxrss / 1024)
