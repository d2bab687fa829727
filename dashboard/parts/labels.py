"""Labels to stick beside the clamp point: a QR code (ISO/IEC 18004) that opens Log a visit for its unit."""

from __future__ import annotations

from html import escape
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

from dashboard.data.queries import ask, records
from ingest.errors import EntryRefused

_STYLE = """
body { font: 11pt/1.3 sans-serif; margin: 0; } @page { margin: 10mm; } h1 { font-size: 12pt; }
div.sheet { display: grid; grid-template-columns: repeat(3, 1fr); gap: 4mm; }
div.label { border: 1px dashed #999; padding: 3mm; break-inside: avoid; display: flex; gap: 3mm;
align-items: center; } .label svg { width: 28mm; height: 28mm; flex: none; }
.label b { font-size: 15pt; overflow-wrap: anywhere; } .label span { font-size: 8pt; color: #333; }
"""


def address_of(unit: str, public_url: str) -> str:
    """Return the page that logs a visit of a unit, as a phone opens it; EntryRefused without a host."""
    if urlsplit(public_url).scheme not in ("http", "https") or not urlsplit(public_url).netloc:
        raise EntryRefused(
            "public-url-needed",
            "A label needs the address that phones reach the pages at: set PUMPLEDGER_PUBLIC_URL, or give"
            " --public-url https://…",
        )
    return f"{public_url.rstrip('/')}/log-visit?unit={quote(unit, safe='')}"


def label_sheet(units: list[dict[str, Any]], public_url: str, title: str) -> str:
    """Return a sheet of labels as HTML that needs nothing from outside; units: unit, depot, vehicle."""
    import segno

    parts = [f"<!doctype html><html lang='en'><head><meta charset='utf-8'><title>{escape(title)}</title>",
             f"<style>{_STYLE}</style></head><body><h1>{escape(title)}</h1><div class='sheet'>"]  # fmt: skip
    for unit in units:
        # Level Q: a quarter of the code may be dirty.
        made = segno.make_qr(address_of(unit["unit"], public_url), error="q")
        code = made.svg_inline(border=4, omitsize=True)  # as large as the style says
        code = code.replace("<svg ", f"<svg role='img' aria-label='{escape(unit['unit'], quote=True)}' ", 1)
        said = ", ".join(escape(str(unit[name])) for name in ("depot", "vehicle") if unit.get(name))
        parts.append(
            f"<div class='label'>{code}<p><b>{escape(unit['unit'])}</b><br><span>{said}</span></p></div>"
        )
    return "".join([*parts, "</div></body></html>"])


def units_to_label(ledger: Path, depot: str | None = None) -> list[dict[str, Any]]:
    """Return the units in use, of one depot or all; EntryRefused where there is none."""
    rows = ask(ledger, "units_to_label", depot=depot)
    if rows.empty:
        where = f" at {depot}" if depot else ""
        raise EntryRefused("no-units", f"There is no unit{where} to make a label for.")
    return records(rows)
