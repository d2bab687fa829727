"""The parsing child, `python -m ingest.readers.child`: reads the files whose format a library takes apart.

A damaged file can end such a library, and with it the process, without any exception; so it ends this one.
"""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

import numpy as np

from ingest.apart.serving_child import serve_frames
from ingest.capture import Capture
from ingest.errors import PumpledgerError
from ingest.readers.content import read_content
from ingest.readers.options import Options

MEMORY_BYTES = 480 * 2**20
CPU_S = 10.0


def answer(asked: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes | memoryview]:
    """Return ({"capture": …}, samples as float64) or ({"refused": [code, text]}, nothing)."""
    try:
        capture = read_content(asked["name"], data, Options(**asked["options"]))
    except PumpledgerError as refused:
        return {"refused": [refused.code, refused.text]}, b""
    except MemoryError:
        return {"refused": ["too-large", f"{asked['name']}: {TOO_LARGE}"]}, b""
    return {"capture": about(capture)}, np.ascontiguousarray(capture.current_a, "<f8").data.cast("B")


TOO_LARGE = "reading it takes too much memory; export a shorter record or one channel."


def about(capture: Capture) -> dict[str, Any]:
    """Return what there is to a capture beside its samples, as JSON."""
    return {
        "sample_rate_hz": float(capture.sample_rate_hz),
        "start_s": float(capture.start_s),
        "source": capture.source,
        "channel": capture.channel,
        "captured_at": capture.captured_at.isoformat() if capture.captured_at else None,
        "notes": [asdict(note) for note in capture.notes],
    }


def main() -> None:
    """Load what parsing needs, then answer until the pipe ends."""
    import pyarrow.compute
    import pyarrow.parquet  # noqa: F401

    serve_frames(answer, memory_bytes=MEMORY_BYTES, cpu_s=CPU_S)


if __name__ == "__main__":
    main()
