"""Parquet files of our own that carry the hash of their whole bytes, checked before any library parses them.

A damaged footer can end the library that parses it, and with it the process. The seal is a value in the
footer's own key-value metadata, so the file stays plain Parquet; it is the SHA-256 of the file's bytes with
64 zeros in the seal's place. It guards against decay, not against somebody who forges one.
"""

from __future__ import annotations

import hashlib
import io
import re
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pyarrow as pa

_BLANK = b"0" * 64
_SEAL = re.compile(rb"pumpledger-sha256:([0-9a-f]{64})")
_FOOTER_BYTES = 2**20  # where the seal is looked for, from the end


def sealed_parquet(table: pa.Table, **options: Any) -> bytes:
    """Return `table` as a sealed Parquet file; options as for pyarrow.parquet.ParquetWriter."""
    import pyarrow.parquet as pq

    file = io.BytesIO()
    with pq.ParquetWriter(file, table.schema, **options) as writer:
        writer.write_table(table)
        writer.add_key_value_metadata({"seal": f"pumpledger-sha256:{_BLANK.decode()}"})
    content = bytearray(file.getvalue())
    place = _place(content)
    assert place is not None
    content[place : place + 64] = hashlib.sha256(content).hexdigest().encode()
    return bytes(content)


def seal_holds(content: bytes) -> bool | None:
    """Tell whether the bytes are those that were sealed; None where the file bears no seal."""
    place = _place(content)
    if place is None:
        return None
    digest = hashlib.sha256(memoryview(content)[:place])
    digest.update(_BLANK)
    digest.update(memoryview(content)[place + 64 :])
    return digest.hexdigest().encode() == content[place : place + 64]


def _place(content: bytes | bytearray) -> int | None:
    start = max(0, len(content) - _FOOTER_BYTES)
    # the last one: a note kept before it may speak of seals
    return max((found.start(1) for found in _SEAL.finditer(content, start)), default=None)
