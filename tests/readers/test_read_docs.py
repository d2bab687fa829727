"""The page on reading a capture names every note and refusal there is, and no other."""

import re
from pathlib import Path

from ingest.wording import file_notes
from ingest.wording.sentence import codes
from tests.readers.refused_files import REFUSALS

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/reading_a_capture.md").read_text(encoding="utf-8")
# Refused by size, by time, by the file system or in a child: tests of their own raise these.
BESIDE = {
    "ended-the-reader", "no-such-file", "no-values", "not-a-file", "not-readable", "rate-absurd",
    "still-growing", "too-large", "too-many-columns", "too-many-samples", "took-too-long",
}  # fmt: skip


def codes_in(heading: str) -> set[str]:
    section = PAGE.split(f"\n## {heading}")[1].split("\n## ")[0]
    rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    return {code for cell in rows for code in re.findall(r"`([a-z0-9-]+)`", cell)}


def test_every_refusal_is_on_the_page():
    assert codes_in("Refusals") == BESIDE | {code for _, _, code, _ in REFUSALS.values()}


def test_every_note_is_on_the_page():
    while_reading = {code for (code, _), write in codes().items() if write.__module__ == file_notes.__name__}
    assert codes_in("Notes") == while_reading


def test_limits_on_the_page_are_the_limits_in_the_code():
    from ingest import limits

    section = PAGE.split("\n## Limits")[1]
    assert f"{limits.MAX_FILE_BYTES // 2**20} MB" in section
    assert limits.MAX_EXPANDED_BYTES == limits.MAX_FILE_BYTES
    assert f"{limits.MAX_CELLWISE_BYTES // 2**20} MB where" in section
    assert f"{limits.MAX_SAMPLES:,} rows" in section
    assert f"{limits.MAX_VALUES:,} values" in section
    assert f"{limits.MAX_COLUMNS:,} columns" in section
    assert f"{limits.TIME_LIMIT_S:.0f} s a file" in section
