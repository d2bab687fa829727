"""NumPy arrays: .npy and .npz, checked before anything is allocated, never unpickled."""

from __future__ import annotations

import io
import math
import warnings

import numpy as np

from ingest.errors import CaptureRefused
from ingest.limits import refuse_rows
from ingest.readers.arrays import table_from_arrays
from ingest.readers.table import Table

MAGIC = b"\x93NUMPY"


def sniff(head: bytes) -> bool:
    """Tell whether the file starts as a .npy does."""
    return head.startswith(MAGIC)


def read(data: bytes) -> Table:
    """Return a .npy array: (n,), (n, k), (k, n) or named fields."""
    return table_from_arrays({"": read_array(data)}, kind="npy")


def read_array(data: bytes) -> np.ndarray:
    """Return the array in `data`; CaptureRefused if the size declared is not that of the bytes there."""
    file = io.BytesIO(data)
    try:
        version = np.lib.format.read_magic(file)
        reader = {
            (1, 0): np.lib.format.read_array_header_1_0,
            (2, 0): np.lib.format.read_array_header_2_0,
        }[version[:2]]
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            shape, fortran, dtype = reader(file)
        if dtype.hasobject:
            raise CaptureRefused(
                "pickle",
                "the array holds Python objects, which are never unpickled; save plain numbers.",
            )
        count = math.prod(shape)
        start = file.tell()
        if dtype.itemsize == 0 or count < 0 or count * dtype.itemsize > len(data) - start:
            raise CaptureRefused(
                "damaged", "the file is cut short: its header promises more values than it holds."
            )
        refuse_rows(count)
        flat = np.frombuffer(data, dtype=dtype, count=count, offset=start)
        return flat.reshape(shape, order="F" if fortran else "C")
    except CaptureRefused:
        raise
    # the header is parsed as a Python literal, which fails in a dozen ways; none of them helps a reader
    except Exception as error:
        raise CaptureRefused("damaged", "the NumPy file is damaged; save it again.") from error
