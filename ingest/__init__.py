"""Captures in, dated metrics out: read a waveform, measure the pump, keep it in the ledger.

Public functions: `read_capture`, `measure`, `open_ledger`. Heavy imports wait until one is called.
"""

import os
from importlib import import_module
from typing import Any

# Before numpy and scipy load. The matrices here are small: a second thread of their linear algebra library
# gains nothing, and on a busy machine the two wait for each other: one capture took 2 to 9 s instead of 0.1.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

_PUBLIC = {
    "read_capture": "ingest.readers.capture_file",
    "measure": "ingest.measuring.measurement",
    "open_ledger": "ingest.ledger.connection",
}
__all__ = ["measure", "open_ledger", "read_capture"]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'ingest' has no attribute {name!r}")
