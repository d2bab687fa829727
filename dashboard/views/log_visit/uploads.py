"""An uploaded capture, read and measured once for each set of choices, however often the page is redrawn."""

from __future__ import annotations

import hashlib
from typing import Any

import streamlit as st

from ingest.capture import Capture
from ingest.errors import CaptureRefused, faults_refused
from ingest.harmless import as_file_name
from ingest.known_pump import KnownPump
from ingest.readers import read_apart
from ingest.reading import Reading
from ingest.wording.language import phrase

Choices = tuple[tuple[str, Any], ...]


def get_ready() -> None:
    """Start what reads files, while a person still looks for one."""
    read_apart.get_ready()


def read_upload(name: str, data: bytes, choices: dict[str, Any]) -> Capture:
    """Return the capture in an upload; choices: channel, probe, sample_rate_hz, full_scale, record.

    Raises CaptureRefused or EntryRefused with the sentence to show.
    """
    with st.spinner(phrase("Reading the file …")):
        read = _read(hashlib.sha256(data).hexdigest(), as_file_name(name), data, _given(choices))
    if isinstance(read, CaptureRefused):
        raise read.with_traceback(None)
    return read


def measure_upload(capture: Capture, known: KnownPump) -> Reading:
    """Return the reading; known: what the ledger tells of the pump."""
    with st.spinner(phrase("Measuring …")):
        return _measure(capture.identity, capture, known)


def _given(values: dict[str, Any]) -> Choices:
    return tuple(sorted((k, v) for k, v in values.items() if v not in (None, "")))


@st.cache_resource(show_spinner=False, max_entries=6)
def _read(digest: str, name: str, _data: bytes, choices: Choices) -> Capture | CaptureRefused:
    """Return the capture, or its refusal: a file that ends its reader must not do so at every redraw."""
    from ingest.readers.capture_file import read_capture_bytes

    try:
        with faults_refused(name):
            return read_capture_bytes(name, _data, **dict(choices))
    except CaptureRefused as refused:
        if refused.code == "took-too-long":  # may be the machine's fault, not the file's
            raise
        return refused


@st.cache_resource(show_spinner=False, max_entries=12)
def _measure(identity: str, _capture: Capture, known: KnownPump) -> Reading:
    from ingest.measuring.measurement import measure

    with faults_refused(_capture.source or "capture"):
        return measure(_capture, known)
