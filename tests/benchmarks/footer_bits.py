"""Every bit of the footers of waveform files, flipped one at a time: what reading the file then does.

    nice python -m tests.benchmarks.footer_bits [FILES] [SECONDS]

FILES (default 20) captures are stored as a ledger stores them; the footer is what Parquet keeps behind the
samples, its length and its mark. Counted for each flipped bit: named as damaged, read as it was stored (a bit
that means nothing), read as anything else, an error without a sentence. Then a ledger with such files is
checked, and must name them and report the rest. Exit 1 for any finding.
"""

from __future__ import annotations

import struct
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

import numpy as np

from ingest.capture import Capture, Note
from ingest.errors import LedgerError
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waveforms import read_waveform, waveform_folder
from tests.authors import ANYBODY


def captures(count: int) -> list[Capture]:
    """Return captures of several lengths, rates, kinds of samples and notes."""
    rng = np.random.default_rng(25)
    made = []
    for n in range(count):
        wave = 5 + 0.3 * np.sin(np.arange(400 + 60 * n) / 9) + rng.normal(0, 0.05, 400 + 60 * n)
        kinds = (
            np.round(wave, 3),
            np.rint(wave * 2**20) / 2**20,
            wave.astype(np.float32).astype(float),
            wave,
        )
        notes = (Note("zero-unverified", "ask", "No off stretch."),) * (n % 3)
        made.append(Capture(kinds[n % 4], 20_000.0 + n, source=f"bay/{n}.csv", channel="CH1", notes=notes))
    return made


def flip_all(path: Path, capture: Capture, until: float) -> Counter[str]:
    """Flip each bit of one file's footer and count what reading it does."""
    whole = path.read_bytes()
    (length,) = struct.unpack("<I", whole[-8:-4])
    found: Counter[str] = Counter()
    for place in range(len(whole) - 8 - length, len(whole)):
        for bit in range(8):
            if time.monotonic() > until:
                found["not tried"] += 1
                continue
            changed = bytearray(whole)
            changed[place] ^= 1 << bit
            path.write_bytes(changed)
            try:
                same = read_waveform(path).current_a.tobytes() == capture.current_a.tobytes()
                found["read as stored" if same else "READ WRONGLY"] += 1
            except LedgerError:
                found["named as damaged"] += 1
            except Exception as error:
                found[f"NO SENTENCE: {type(error).__name__}"] += 1
    path.write_bytes(whole)
    return found


def main() -> int:
    """Flip, count, print."""
    files = int(sys.argv[1]) if len(sys.argv) > 1 else 20
    until = time.monotonic() + (float(sys.argv[2]) if len(sys.argv) > 2 else 800.0)
    total: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as folder:
        ledger = Path(folder) / "fleet.duckdb"
        made = captures(files)
        for n, capture in enumerate(made):
            entry = VisitEntry(f"{n}", odometer_km=1000.0)
            log_visit(ledger, entry, capture, meter_reading(5.0), {"unit-new": "new"}, author=ANYBODY)
        for n, capture in enumerate(made, start=1):
            total += flip_all(waveform_folder(ledger) / f"{capture.identity}.parquet", capture, until)
            print(f"{n} of {files}: {dict(total)}", flush=True)
        victims = sorted(waveform_folder(ledger).glob("*.parquet"))[::3]
        for n, path in enumerate(victims):
            content = bytearray(path.read_bytes())
            content[-9 - 37 * n] ^= 1 << n % 8
            path.write_bytes(content)
        named = [f for f in check_ledger(ledger).findings if f.code == "waveform-damaged"]
        print(f"check: {len(named)} of {len(victims)} damaged files named, {files - len(victims)} sound")
    wrong = sum(count for what, count in total.items() if what.isupper() or what[:2].isupper())
    return 1 if wrong or len(named) != len(victims) else 0


if __name__ == "__main__":
    sys.exit(main())
