"""The page on reading a capture names every note and refusal there is, and no other."""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs/reading_a_capture.md").read_text(encoding="utf-8")
SOURCES = [ROOT / "ingest/limits.py", *(ROOT / "ingest/readers").glob("*.py")]


def codes_raised() -> set[str]:
    source = "\n".join(path.read_text(encoding="utf-8") for path in SOURCES)
    found = set(re.findall(r'CaptureRefused\(\s*"([a-z0-9-]+)"', source))
    kinds = (ROOT / "ingest/readers/kinds.py").read_text(encoding="utf-8")
    found |= set(re.findall(r'^    \(b.*?, "([a-z0-9-]+)", f?"', kinds, re.MULTILINE))
    return found | set(re.findall(r'return "([a-z-]+)", ', kinds))


def codes_noted() -> set[str]:
    source = (ROOT / "ingest/wording/file_notes.py").read_text(encoding="utf-8")
    return set(re.findall(r'@note\(\s*"([a-z-]+)"', source))


def codes_in(heading: str) -> set[str]:
    section = PAGE.split(f"\n## {heading}")[1].split("\n## ")[0]
    rows = [line.split("|")[1] for line in section.splitlines() if line.startswith("| `")]
    return {code for cell in rows for code in re.findall(r"`([a-z0-9-]+)`", cell)}


def test_every_refusal_is_on_the_page():
    assert codes_in("Refusals") == codes_raised()


def test_every_note_is_on_the_page():
    assert codes_in("Notes") == codes_noted()


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
