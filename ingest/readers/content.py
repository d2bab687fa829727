"""Bytes of a capture file to a Capture, in this process: called by the front door and by its child."""

from __future__ import annotations

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.limits import Deadline
from ingest.readers import formats
from ingest.readers.assemble import assemble
from ingest.readers.options import Options


def read_content(name: str, data: bytes, options: Options) -> Capture:
    """Return the capture in `data`, the content of a file called `name`; else CaptureRefused, named."""
    if data.startswith(b"PAR1"):
        from ingest.waveforms import parse_waveform

        if own := parse_waveform(data):  # out of a ledger: amperes already, whatever factor the visit names
            return own
    try:
        return assemble(name, formats.read_table(data, Deadline()), options)
    except CaptureRefused as refused:
        raise CaptureRefused(refused.code, f"{name}: {refused.text}", refused.channels) from refused
