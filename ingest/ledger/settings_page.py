"""The page of settings, from `ingest.trade_numbers`: `python -m ingest.ledger.settings_page`."""

from __future__ import annotations

import json
from pathlib import Path

from ingest.trade_numbers import SETTINGS

OUTPUT = Path(__file__).parents[2] / "docs" / "settings.md"
HEAD = """# Settings

Generated from `ingest/trade_numbers.py` by `python -m ingest.ledger.settings_page`; edit that, not this page.
Each is changed on the fleet data page (dated, with a reason, in the change log) or in `fleet.toml`, and holds
from its day on. Marks: S public source, W several public pages, P common practice, no source; none for what
a fleet decides.

| setting | default | | meaning |
|---|---|---|---|
"""


def settings_page() -> str:
    """Return the page: each setting with its default, mark and meaning."""
    lines = (
        f"| `{name}` | {json.dumps(setting.default)} | {setting.mark} | {setting.meaning} |\n"
        for name, setting in SETTINGS.items()
    )
    return HEAD + "".join(lines)


if __name__ == "__main__":
    OUTPUT.write_text(settings_page(), encoding="utf-8")
