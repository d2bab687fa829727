"""Linear algebra keeps to one thread: on a busy machine two of them wait for each other."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

CODE = "import os, ingest.measuring.measurement, scipy.linalg; print(len(os.listdir('/proc/self/task')))"


def threads(**more: str) -> int:
    environment = {k: v for k, v in os.environ.items() if not k.endswith("_NUM_THREADS")} | more
    made = subprocess.run(
        [sys.executable, "-c", CODE], env=environment, capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    return int(made.stdout)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="counts threads under /proc")
def test_measuring_starts_no_threads_unless_asked_to():
    assert threads() == 1
    if (os.cpu_count() or 1) > 1:
        assert threads(OPENBLAS_NUM_THREADS="2") > 1
