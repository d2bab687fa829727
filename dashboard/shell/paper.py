"""Sheets to print: one plain HTML file each that needs nothing from outside; cautions always on them."""

from __future__ import annotations

import re
from html import escape
from typing import Any

import pandas as pd

from analytics.judging.safety import caution_lines

_STYLE = """
body { font: 11pt/1.4 Georgia, serif; color: #111; max-width: 52rem; margin: 1.5rem auto; }
h1 { border-bottom: 3px double #999; font-size: 16pt; } h2 { font-size: 12pt; margin-bottom: .2rem; }
table { border-collapse: collapse; width: 100%; } th, td { border-bottom: 1px solid #ccc; text-align: left;
padding: .2rem .6rem .2rem 0; vertical-align: top; } .sign { margin-top: 2rem; } li { font-size: 9pt; }
tr, li { break-inside: avoid; } h2 { break-after: avoid; } @page { margin: 14mm; }
"""
_ACROSS = """
@page { size: A4 landscape; } body { max-width: none; font-size: 9.5pt; }
td:not(:last-child) { white-space: nowrap; }
"""


def sheet(
    title: str,
    tables: list[tuple[str, pd.DataFrame]],
    sentences: dict[str, str],
    notes: list[str],
    *,
    wide: bool = False,
) -> str:
    """Return the sheet: titled tables, sentences under headings, notes, a line for initials, the cautions.

    wide: printed across the paper, for tables of many columns.
    """
    parts = [
        f"<!doctype html><html lang='en'><head><meta charset='utf-8'><title>{escape(title)}</title>",
        f"<style>{_STYLE}{_ACROSS if wide else ''}</style></head><body><h1>{escape(title)}</h1>",
    ]
    for name, table in tables:
        parts.append(f"<h2>{escape(name)}</h2>" if name else "")
        parts.append(_unbroken(table.to_html(index=False, border=0, na_rep="–")))
    parts += [f"<h2>{escape(name)}</h2><p>{escape(text)}</p>" for name, text in sentences.items() if text]
    if notes:
        parts.append("<h2>Notes</h2><ul>" + "".join(f"<li>{escape(n)}</li>" for n in notes) + "</ul>")
    parts.append("<p class='sign'>Initials ______________  Date ______________</p>")
    parts.append(
        "<h2>Cautions</h2><ul>" + "".join(f"<li>{escape(c)}</li>" for c in caution_lines()) + "</ul>"
    )
    return "".join(parts) + "</body></html>"


def _unbroken(html: str) -> str:
    """Return a table whose dates and unit numbers don't break at their hyphens."""
    return re.sub(r"(?<=\w)-(?=\d)", "\N{NON-BREAKING HYPHEN}", html)


def facts_table(facts: dict[str, Any]) -> pd.DataFrame:
    """Return named facts as a two-column table, unknown ones left out."""
    rows = [(name, str(value)) for name, value in facts.items() if value not in (None, "", "–")]
    return pd.DataFrame(rows, columns=["Fact", "Value"])
