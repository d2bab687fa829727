"""Sheets to print: one plain HTML file each that needs nothing from outside; cautions always on them."""

from __future__ import annotations

import re
from collections.abc import Sequence
from contextlib import suppress
from html import escape
from pathlib import Path
from typing import Any

import pandas as pd

from analytics.judging.safety import FIRST, caution_lines
from ingest.errors import EntryRefused
from ingest.extras import how_to_install
from ingest.wording.language import phrase, spoken

_STYLE = """
body { font: 11pt/1.4 Georgia, serif; color: #111; max-width: 52rem; margin: 1.5rem auto; }
h1 { border-bottom: 3px double #999; font-size: 16pt; } h2 { font-size: 12pt; margin-bottom: .2rem; }
table { border-collapse: collapse; width: 100%; } th, td { border-bottom: 1px solid #ccc; text-align: left;
padding: .2rem .6rem .2rem 0; vertical-align: top; } .sign { margin-top: 2rem; } li { font-size: 9pt; }
tr, li { break-inside: avoid; } h2 { break-after: avoid; } @page { margin: 14mm; }
"""
_BRIEF = """
body { font-size: 9.5pt; line-height: 1.3; } table { font-size: 8.5pt; } h1 { font-size: 14pt; margin: 0 0
.5rem; } figure { margin: .6rem 0 0; break-inside: avoid; } figcaption { font-weight: bold; font-size: 9.5pt;
} .key { margin: 0; font: 7.5pt sans-serif; } .key span { margin-right: 1.2em; } .key i { display:
inline-block; width: .8em; height: .8em; margin-right: .3em; } .key .mark { height: .2em; } .caution {
margin-top: .8rem; font-size: 8pt; } p { margin: .2rem 0; }
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
    pictures: Sequence[tuple[str, str]] = (),
    after: Sequence[tuple[str, pd.DataFrame]] = (),
    brief: bool = False,
) -> str:
    """Return the sheet: titled tables, sentences under headings, notes, a line for initials, the cautions.

    wide: printed across the paper, for tables of many columns. pictures: titles and SVG text of ours, between
    the tables and those of `after`. brief: to be read, not worked from: closely set, without the line for
    initials, and of the cautions the one that leads to the rest.
    """
    style = _STYLE + (_ACROSS if wide else "") + (_BRIEF if brief else "")
    parts = [
        f"<!doctype html><html lang='{spoken()}'><head><meta charset='utf-8'><title>{escape(title)}</title>",
        f"<style>{style}</style></head><body><h1>{escape(title)}</h1>",
    ]
    parts += [_titled(name, table) for name, table in tables]
    parts += [
        f"<figure><figcaption>{escape(name)}</figcaption>{picture}</figure>" for name, picture in pictures
    ]
    parts.append("<div class='over'></div>" if after and pictures else "")
    parts += [_titled(name, table) for name, table in after]
    parts += [f"<h2>{escape(name)}</h2><p>{escape(text)}</p>" for name, text in sentences.items() if text]
    if notes:
        parts.append(
            f"<h2>{phrase('Notes')}</h2><ul>" + "".join(f"<li>{escape(n)}</li>" for n in notes) + "</ul>"
        )
    if brief:
        parts.append(f"<p class='caution'>{escape(phrase(FIRST))}</p>")
    else:
        initials, day = phrase("Initials"), phrase("Date")
        parts.append(f"<p class='sign'>{initials} ______________  {day} ______________</p>")
        parts.append(
            f"<h2>{phrase('Cautions')}</h2><ul>"
            + "".join(f"<li>{escape(c)}</li>" for c in caution_lines())
            + "</ul>"
        )
    return "".join(parts) + "</body></html>"


def _titled(name: str, table: pd.DataFrame) -> str:
    heading = f"<h2>{escape(name)}</h2>" if name else ""
    return heading + unbroken(table.to_html(index=False, border=0, na_rep="–"))


def unbroken(html: str) -> str:
    """Return a table whose dates and unit numbers don't break at their hyphens."""
    return re.sub(r"(?<=\w)-(?=\d)", "\N{NON-BREAKING HYPHEN}", html)


def as_pdf(html: str) -> bytes:
    """Return a sheet as PDF, by the library of the extra `pdf`. Raises EntryRefused where it is not
    installed."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:  # OSError: the text library it stands on is missing
        raise EntryRefused(
            "no-pdf",
            f"PDF needs the extra `pdf` ({how_to_install('pdf')}) and the system's Pango library; HTML needs"
            " neither and prints from any browser.",
        ) from error
    return bytes(HTML(string=html, url_fetcher=_nothing_from_outside).write_pdf())


def _nothing_from_outside(url: str, *_: Any, **__: Any) -> Any:
    raise ValueError(f"a sheet asks for nothing from outside, but for {url}")


def write_file(path: Path, content: bytes) -> None:
    """Write a file whole or not at all. Raises EntryRefused where it can't be."""
    if not path.name or path.is_dir():
        raise EntryRefused("not-written", f"{path} is a folder; name the file to write.")
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        raise EntryRefused("not-written", f"{path} can't be written: {error.strerror}.") from error


def facts_table(facts: dict[str, Any]) -> pd.DataFrame:
    """Return named facts as a two-column table, unknown ones left out."""
    rows = [(name, str(value)) for name, value in facts.items() if value not in (None, "", "–")]
    return pd.DataFrame(rows, columns=[phrase("Fact"), phrase("Value")])
