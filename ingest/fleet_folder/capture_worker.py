"""A worker of `load`, `python -m ingest.fleet_folder.capture_worker`: reads, measures and keeps captures.

The first frame says for which ledger; each further one is a file.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ingest.apart.serving_child import serve_frames
from ingest.fleet_folder.captures import CaptureJob, take
from ingest.known_pump import KnownPump

MEMORY_BYTES = 480 * 2**20
CPU_S = 60.0  # on a machine slower than any; a file is measured in a tenth of it at the most


class Worker:
    """What the first frame told: the ledger, the captures it knows, and whether waveforms are kept."""

    def __init__(self) -> None:
        self.ledger = Path()
        self.known: frozenset[str] = frozenset()
        self.store = False

    def answer(self, asked: dict[str, Any], body: bytes) -> tuple[dict[str, Any], bytes]:
        """Remember a beginning, or return a file's result as `CaptureResult.as_json` does."""
        if "ledger" in asked:
            self.ledger, self.store = Path(asked["ledger"]), bool(asked["store"])
            self.known = frozenset(body.decode().split())
            return {}, b""
        job = CaptureJob(
            asked["name"], Path(asked["path"]), KnownPump(**asked["known"]), asked["probe"], asked["channel"]
        )
        return take(job, self.ledger, self.known, store=self.store).as_json(), b""


def main() -> None:
    """Load what reading and measuring need, then answer until the pipe ends."""
    import ingest.measuring.measurement
    import ingest.readers.capture_file  # noqa: F401

    serve_frames(Worker().answer, memory_bytes=MEMORY_BYTES, cpu_s=CPU_S)


if __name__ == "__main__":
    main()
