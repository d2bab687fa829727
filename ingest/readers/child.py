"""The parsing child, `python -m ingest.readers.child`: reads the files whose format a library takes apart,
captures and workbooks.

A damaged file can end such a library, and with it the process, without any exception; so it ends this one.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np

from ingest.apart.serving_child import serve_frames
from ingest.capture import described
from ingest.errors import PumpledgerError, faults_refused
from ingest.readers.content import read_content
from ingest.readers.options import Options

MEMORY_BYTES = 480 * 2**20
CPU_S = 10.0


def answer(asked: dict[str, Any], data: bytes) -> tuple[dict[str, Any], bytes | memoryview]:
    """Return ({"capture": …}, samples as float64) or ({"refused": [code, text, channels…]}, nothing).

    Of a workbook ({"workbook": true}): ({"sheets": names}, rows of text cells by sheet, as JSON). Of a photo
    ({"photo": true}): ({"photo": size}, a small JPEG).
    """
    try:
        with faults_refused(asked["name"]):
            if asked.get("workbook"):
                from ingest.readers.workbook import parse_workbook

                sheets = parse_workbook(data)
                return {"sheets": list(sheets)}, json.dumps(sheets).encode()
            if asked.get("photo"):
                from ingest.readers.photo import parse_photo

                picture = parse_photo(asked["name"], data)
                return {"photo": len(picture)}, picture
            capture = read_content(asked["name"], data, Options(**asked["options"]))
    except PumpledgerError as refused:
        return {"refused": [refused.code, refused.text, *getattr(refused, "channels", ())]}, b""
    return {"capture": described(capture)}, np.ascontiguousarray(capture.current_a, "<f8").data.cast("B")


def main() -> None:
    """Load what parsing needs, then answer until the pipe ends."""
    import pyarrow.compute
    import pyarrow.parquet  # noqa: F401

    serve_frames(answer, memory_bytes=MEMORY_BYTES, cpu_s=CPU_S)


if __name__ == "__main__":
    main()
