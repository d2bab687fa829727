"""Finished chains wait in files; a run that was killed goes on from them.

A row is taken as it is only if it follows from the very same samples, facts and method (`chain.made_of`).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from contextlib import suppress
from pathlib import Path

from ingest.chains.chain import CaptureResult, Chain, Link, MeasureLink, Work, made_of, measure_chain
from ingest.chains.told import row_as_json, row_from_json
from ingest.waiting import keep_rows, waiting_rows
from ingest.waveforms import still_whole


def finish(
    chain: Chain,
    work: Work,
    waiting: Path | None,
    take: MeasureLink,
    tell: Callable[[CaptureResult], None] = lambda _row: None,
) -> tuple[CaptureResult, ...]:
    """Return the rows of one chain, those that wait taken as they are, and let them all wait."""
    there = left_of(chain, waiting)

    def take_or_reuse(link: Link) -> CaptureResult:
        row = reused(link, there, work) or take(link)
        tell(row)
        return row

    rows = measure_chain(chain, work, take=take_or_reuse)
    let_wait(chain, rows, waiting, there)
    return rows


def left_of(chain: Chain, waiting: Path | None) -> Mapping[str, CaptureResult]:
    """Return the rows that wait for a chain, by the hash of what they follow from."""
    if waiting is None or not waiting.is_dir():
        return {}
    rows: dict[str, CaptureResult] = {}
    with suppress(KeyError, TypeError, ValueError):  # written by another release
        for told in waiting_rows(waiting, chain.name):
            rows[told["made_of"]] = row_from_json(told)
    return rows


def reused(link: Link, there: Mapping[str, CaptureResult], work: Work) -> CaptureResult | None:
    """Return the row that waits for a link, None where there is none or its waveform is gone or torn."""
    row = there.get(made_of(link)) if there else None
    if row is None or not (row.stored or link.stored or work.keep_in is None):
        return None
    if row.stored is not None and not still_whole(row.stored.path):
        return None
    return row


def let_wait(
    chain: Chain,
    rows: Iterable[CaptureResult],
    waiting: Path | None,
    there: Mapping[str, CaptureResult],
) -> None:
    """Let what was measured of a chain wait; LedgerError where that can't be written."""
    measured = {row.made_of: row for row in rows if row.reading is not None and row.made_of}
    if waiting is not None and measured.keys() - there.keys():
        keep_rows(waiting, chain.name, [row_as_json(row) for row in measured.values()])
