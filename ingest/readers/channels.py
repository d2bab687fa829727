"""Choosing the current channel: the one that is named, the only one, the only one in amperes; else ask."""

from __future__ import annotations

import re

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.readers.roles import Roles, is_envelope, unit_of
from ingest.readers.signal_units import split_name_unit
from ingest.readers.table import Column
from ingest.readers.vocabulary import fold
from ingest.wording import file_notes


def choose_channel(roles: Roles, wanted: str | None) -> tuple[Column, list[Note]]:
    """Return the channel and a note on the choice; raises CaptureRefused with the names there are."""
    if not roles.values:
        raise CaptureRefused("no-channel", "there is a time column but no values beside it.")
    if wanted is not None:
        return _named(roles, wanted), []
    channels = [c for c in roles.values if not is_envelope(c)] or list(roles.values)
    notes = []
    if len(channels) < len(roles.values):
        hidden = [c.name for c in roles.values if is_envelope(c)]
        notes.append(file_notes.envelope_column(hidden))
    if len(channels) == 1:
        return channels[0], notes
    amperes = [c for c in channels if (unit := unit_of(c)) and unit.kind == "current"]
    if len(amperes) == 1:
        notes.append(file_notes.channel_chosen(amperes[0].name))
        return amperes[0], notes
    electrical = [c for c in channels if (unit := unit_of(c)) is None or unit.kind in _ELECTRICAL]
    if not electrical:
        raise CaptureRefused(
            "not-electrical",
            f"the columns are in {_units(channels)}, not in A or V; export the clamp's channel against time.",
        )
    raise CaptureRefused(
        "channel-needed",
        f"which channel is the current? Say --channel with one of: {_names(channels)}.",
        [c.name for c in channels[:SHOWN]],
    )


SHOWN = 12  # channels named in a sentence
_ELECTRICAL = ("current", "voltage", "code")


def _named(roles: Roles, wanted: str) -> Column:
    stem, _, _ = split_name_unit(wanted)
    keys = {fold(wanted), fold(stem)} - {""}
    matches = [c for c in roles.values if fold(c.name) in keys or fold(f"{c.name}{c.unit_text}") in keys]
    exact = [c for c in matches if c.name.lower() == wanted.lower()]
    matches = exact or matches or [c for c in roles.values if fold(c.second_name) in keys]
    place = re.fullmatch(r"(ch|channel)?(\d{1,3})", fold(wanted))
    # "CH2" is the second where names say nothing of numbers, and never the third channel called "CH3"
    numbered = any(re.fullmatch(r"(?:ch|channel)\d+", fold(c.name)) for c in roles.values)
    if not matches and place and not (place[1] and numbered) and 1 <= int(place[2]) <= len(roles.values):
        matches = [roles.values[int(place[2]) - 1]]
    if len(matches) == 1:
        return matches[0]
    if matches:
        raise CaptureRefused(
            "channel-ambiguous",
            f"{len(matches)} channels are called '{wanted}'; say --channel with the number of one, "
            f"1 to {len(roles.values)}.",
        )
    raise CaptureRefused(
        "no-such-channel",
        f"there is no channel '{wanted}'; say --channel with one of: {_names(list(roles.values))}.",
        [c.name for c in roles.values[:SHOWN]],
    )


def _names(columns: list[Column]) -> str:
    shown = [
        f"{c.name} ({c.unit_text or c.unit})" if c.unit or c.unit_text else c.name for c in columns[:SHOWN]
    ]
    return ", ".join(shown) + (", …" if len(columns) > SHOWN else "")


def _units(columns: list[Column]) -> str:
    return ", ".join(sorted({c.unit_text or c.unit or "?" for c in columns}))
