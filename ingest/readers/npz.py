"""NumPy .npz: a ZIP archive of .npy members, each checked and capped before it is unpacked."""

from __future__ import annotations

import io
import zipfile
import zlib

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import MAX_EXPANDED_BYTES, Deadline, refuse_size
from ingest.readers.arrays import table_from_arrays
from ingest.readers.npy import read_array
from ingest.readers.table import Table

MAGIC = b"PK\x03\x04"
MOST_MEMBERS = 1_000


def sniff(data: bytes) -> bool:
    """Tell whether the file is a ZIP archive whose members are .npy files (a workbook is one too)."""
    if not data.startswith(MAGIC):
        return False
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            names = archive.namelist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError):
        return b".npy" in data[:256]
    return bool(names) and all(name.endswith(".npy") for name in names)


def read(data: bytes, deadline: Deadline) -> Table:
    """Return the arrays of the archive as columns; members are never written to disk.

    Raises CaptureRefused for a damaged archive or one past the caps.
    """
    arrays: dict[str, np.ndarray] = {}
    total = 0
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            for member in archive.infolist()[:MOST_MEMBERS]:
                with archive.open(member) as file:
                    # the size a ZIP declares may be a lie: read no more than the cap leaves
                    content = file.read(MAX_EXPANDED_BYTES - total + 1)
                total += len(content)
                refuse_size(total, MAX_EXPANDED_BYTES, "expanded file")
                deadline.check()
                arrays[member.filename.removesuffix(".npy")] = read_array(content)
    except (
        zipfile.BadZipFile,
        zlib.error,
        ValueError,
        EOFError,
        OSError,
        NotImplementedError,
        RuntimeError,
    ) as error:
        raise CaptureRefused("damaged", "the NumPy archive is damaged; save it again.") from error
    return table_from_arrays(arrays, kind="npz")
