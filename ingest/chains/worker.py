"""A worker, `python -m ingest.chains.worker`: reads, measures and keeps captures.

The first frame says what the run's chains share; each further one is a link.
"""

from __future__ import annotations

import json
from typing import Any

from ingest.apart.serving_child import serve_frames
from ingest.chains.chain import Work, measure_link
from ingest.chains.told import link_from_json, row_as_json, work_from_json

MEMORY_BYTES = 480 * 2**20
CPU_S = 60.0  # on a machine slower than any; a file is measured in a tenth of it at the most


class Worker:
    """What the first frame told."""

    def __init__(self) -> None:
        self.work = Work()

    def answer(self, asked: dict[str, Any], body: bytes) -> tuple[dict[str, Any], bytes]:
        """Remember a beginning, or return a link's row as `row_as_json` does."""
        if body:
            self.work = work_from_json(json.loads(body))
            return {}, b""
        return row_as_json(measure_link(link_from_json(asked), self.work)), b""


def main() -> None:
    """Load what reading and measuring need, then answer until the pipe ends."""
    import ingest.measuring.measurement
    import ingest.readers.capture_file  # noqa: F401

    serve_frames(Worker().answer, memory_bytes=MEMORY_BYTES, cpu_s=CPU_S)


if __name__ == "__main__":
    main()
