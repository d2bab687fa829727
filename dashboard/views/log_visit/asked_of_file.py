"""What a file doesn't say, asked for where its refusal stands: one tap, or one box."""

from __future__ import annotations

import streamlit as st

from dashboard.data import loaders
from dashboard.shell import say
from dashboard.views.log_visit.typed import PROBES
from dashboard.words.plain import plain
from ingest.errors import ASK_FACTOR, CaptureRefused, PumpledgerError
from ingest.wording.language import phrase
from ingest.wording.options import without_options

# What answers a refusal: the box among those of the file, its label and what may stand there.
BOXES = {
    "sample-rate-needed": ("rate", "Samples a second", "100 kS/s"),
    "full-scale-needed": ("full_scale", "Amps at full scale (sound files)", "10A"),
}
MOST_TAPS = 6


def show_refusal(refused: PumpledgerError) -> None:
    """Say why a file was refused, in the page's words, and offer what settles it."""
    say.refuse(without_options(refused.text))
    channels = refused.channels if isinstance(refused, CaptureRefused) else ()
    if channels:
        _taps(phrase("Channel with the pump current"), {name: ("channel", name) for name in channels})
    elif refused.code in ASK_FACTOR:
        named = {phrase("clamp {clamp}", clamp=name): ("clamp", name) for name in loaders.clamp_factors()}
        if named and not st.session_state.get("clamp"):
            _taps(phrase("Clamp on record"), named)
        _taps(phrase("Clamp's factor"), {name: ("probe", name) for name in PROBES[1:-1]})
        _box("probe_text", "Factor", "40 mV/A")
    elif refused.code in BOXES:
        _box(*BOXES[refused.code])


def _taps(label: str, choices: dict[str, tuple[str, str]]) -> None:
    shown = list(choices.items())[:MOST_TAPS]
    say.note(label)
    for column, (name, chosen) in zip(st.columns(len(shown)), shown, strict=True):
        column.button(plain(name), on_click=_put, args=chosen, key=f"asked_{name}", width="stretch")


def _box(name: str, label: str, example: str) -> None:
    key = f"asked_{name}"
    st.text_input(
        phrase(label),
        key=key,
        placeholder=example,
        autocomplete="off",
        on_change=_put_typed,
        args=(name, key),
    )


def _put_typed(name: str, key: str) -> None:
    if name == "probe_text":
        _put("probe", PROBES[-1])
    _put(name, st.session_state[key])


def _put(name: str, value: str) -> None:
    st.session_state[name] = value
