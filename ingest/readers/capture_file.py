"""The front door for captures: find out what a file is, read it, or refuse it in one sentence."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from ingest.capture import Capture
from ingest.errors import CaptureRefused
from ingest.harmless import as_file_name
from ingest.limits import MAX_FILE_BYTES, refuse_size
from ingest.readers import formats
from ingest.readers.content import read_content
from ingest.readers.options import Options, parse_full_scale, parse_options, parse_probe, parse_rate
from ingest.readers.read_apart import read_apart

__all__ = ["parse_full_scale", "parse_probe", "parse_rate", "read_capture", "read_capture_bytes"]


def read_capture(
    path: str | os.PathLike[str],
    *,
    channel: str | int | None = None,
    probe: str | float | None = None,
    sample_rate_hz: str | float | None = None,
    full_scale: str | float | None = None,
    record: str | int | None = None,
) -> Capture:
    """Read one capture file of any supported kind.

    `channel` names the current channel (unit and case ignored); `probe` is the clamp's output ("100mV/A",
    or volts per ampere); `sample_rate_hz` ("100 kS/s" or Hz) replaces the file's own time base; `full_scale`
    ("10A" or amperes) is what an audio file's full scale means; `record` counts from 1 in a segmented file.
    Raises CaptureRefused for the file, EntryRefused for an option that can't be understood.
    """
    # a mistyped option is told before the file is opened
    options = parse_options(channel, probe, sample_rate_hz, full_scale, record)
    return _read(as_file_name(Path(path).name), _load(path), options)


def read_capture_bytes(
    name: str,
    data: bytes,
    *,
    channel: str | int | None = None,
    probe: str | float | None = None,
    sample_rate_hz: str | float | None = None,
    full_scale: str | float | None = None,
    record: str | int | None = None,
) -> Capture:
    """Read a capture from `data`, the content of a file called `name`; otherwise as `read_capture`."""
    options = parse_options(channel, probe, sample_rate_hz, full_scale, record)
    name = as_file_name(name)
    _refuse_large(name, len(data))
    return _read(name, data if isinstance(data, bytes) else bytes(data), options)


def _read(name: str, data: bytes, options: Options) -> Capture:
    if formats.is_parsed_apart(data):
        return read_apart(name, data, options)
    return read_content(name, data, options)


def _load(path: str | os.PathLike[str]) -> bytes:
    """Return a regular file's bytes; directories, pipes and devices are refused without waiting on them."""
    name = as_file_name(Path(path).name or str(path))
    try:
        # without O_NONBLOCK, opening a pipe would wait for its writer
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0))
    except FileNotFoundError as error:
        raise CaptureRefused("no-such-file", f"{path}: there is no such file; check the path.") from error
    except PermissionError as error:
        raise CaptureRefused("not-readable", f"{path}: this user may not read the file.") from error
    except (OSError, ValueError) as error:
        raise CaptureRefused("not-readable", f"{name!r}: this can't be opened as a file.") from error
    try:
        status = os.fstat(handle)
        if not stat.S_ISREG(status.st_mode):
            raise CaptureRefused(
                "not-a-file",
                f"{name}: this is a folder, pipe or device, not a file; name the capture itself.",
            )
        _refuse_large(name, status.st_size)
        with os.fdopen(handle, "rb", buffering=0, closefd=False) as file:
            # one more than the size tells whether it has grown since the check
            data = file.read(status.st_size + 1)
    finally:
        os.close(handle)
    if len(data) > status.st_size:
        raise CaptureRefused(
            "still-growing", f"{name}: the file is still being written; read it when the recorder is done."
        )
    return data


def _refuse_large(name: str, size: int) -> None:
    try:
        refuse_size(size, MAX_FILE_BYTES)
    except CaptureRefused as refused:
        raise CaptureRefused(refused.code, f"{name}: {refused.text}", refused.channels) from refused
