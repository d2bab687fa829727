"""The child that parses waveform files without a seal, `python -m ingest.waveform_child`.

They were written before files were sealed, or are damaged where the seal stands.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from ingest.apart.serving_child import serve_frames
from ingest.capture import described
from ingest.waveforms import parse_waveform

MEMORY_BYTES = 480 * 2**20
CPU_S = 10.0


def answer(_asked: dict[str, Any], content: bytes) -> tuple[dict[str, Any], bytes | memoryview]:
    """Return ({"capture": …, "encoding": …}, samples as float64), or nothing for what is no waveform."""
    try:
        read = parse_waveform(content)
    except MemoryError:
        read = None
    if read is None:
        return {}, b""
    samples = np.ascontiguousarray(read.current_a, "<f8")
    return {"capture": described(read)}, samples.data.cast("B")


if __name__ == "__main__":
    import pyarrow.parquet  # noqa: F401

    serve_frames(answer, memory_bytes=MEMORY_BYTES, cpu_s=CPU_S)
