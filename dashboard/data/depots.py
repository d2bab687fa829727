"""Which depots the one at the screen is bound to, and the one filter on what analyses say of the whole fleet.

Where people sign in, that is told at every run of a page; what runs outside of one (a file made when its
button is pressed) takes it along. Where it was not told, nothing is shown.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import pandas as pd
import streamlit as st

from ingest.errors import LedgerError
from ingest.ledger.depots import Depots
from ingest.wording.language import speaking, spoken

_taken_along: ContextVar[Depots | None] = ContextVar("depots", default=None)
_PLACE = "bound_to_depots"
_signed_in = [False]  # whether this server knows of people at all


def bind(depots: Depots, *, signed_in: bool) -> None:
    """Say for this run of a page which depots its person is bound to; none named means all of them."""
    _signed_in[0] = signed_in
    st.session_state[_PLACE] = tuple(sorted(depots))


def bound_to() -> Depots:
    """Return the depots that what is shown is bound to; LedgerError where that was not told."""
    along = _taken_along.get()
    if along is not None:
        return along
    if not _signed_in[0]:
        return ()
    told: Depots | None = st.session_state.get(_PLACE)
    if told is None:
        raise LedgerError("nobody", "Who asks for this is not known; load the page again.")
    return told


def taking_along(make: Callable[[], Any]) -> Callable[[], Any]:
    """Return `make` so that it works later, outside of this run, for the same person in the same
    language."""
    depots, language = bound_to(), spoken()

    def later() -> Any:
        token = _taken_along.set(depots)
        try:
            with speaking(language):
                return make()
        finally:
            _taken_along.reset(token)

    return later


@dataclass(frozen=True)
class Own:
    """What belongs to the depots a person is bound to, and the names of what doesn't."""

    depots: frozenset[str]
    units: frozenset[str]
    pumps: frozenset[int]
    others: frozenset[str]  # units and depots that are not theirs


def of_own(answer: Any, own: Own) -> Any:
    """Return an answer about the whole fleet without the rows and sentences about other depots' units.

    Figures of the whole fleet stay what they are.
    """
    if isinstance(answer, pd.DataFrame):
        return _rows(answer, own)
    if is_dataclass(answer) and not isinstance(answer, type):
        return replace(
            answer, **{f.name: of_own(getattr(answer, f.name), own) for f in fields(answer) if f.init}
        )
    if isinstance(answer, tuple) and answer and all(isinstance(text, str) for text in answer):
        return tuple(text for text in answer if not _names_others(text, own))
    return answer


def _rows(rows: pd.DataFrame, own: Own) -> pd.DataFrame:
    keep = pd.Series(True, rows.index)
    if "depot" in rows:
        keep &= rows["depot"].isin(own.depots)
    if "unit" in rows:
        keep &= rows["unit"].isin(own.units)
    if "pump_id" in rows:
        keep &= rows["pump_id"].isin(own.pumps)
    return rows[keep]


def _names_others(text: str, own: Own) -> bool:
    words = set(re.split(r"[^\w-]+", text))
    return any(name in words or (not name.isalnum() and name in text) for name in own.others)
