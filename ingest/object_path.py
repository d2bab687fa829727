"""A place in an object store, with what the keeping of waveforms asks of a `pathlib.Path`.

    s3://BUCKET/PREFIX?region=eu-1&endpoint_override=https://store.example

`pyarrow.fs` speaks to the store; its credentials stand where that library looks for them (environment,
~/.aws), never in an address. An object is there whole or not at all and lasts once the store has said so:
none is written under another name first, and none is flushed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from fnmatch import fnmatchcase
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from ingest.errors import LedgerError
from ingest.loopback import is_loopback

SCHEME = "s3://"
CONNECTED_WITHIN_S, ANSWERED_WITHIN_S, ATTEMPTS = 5.0, 60.0, 3
_OPTIONS = {"region", "endpoint_override"}
_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{1,61}[a-z0-9]")
_KEY = re.compile(r"[A-Za-z0-9!_.*'()/-]*")  # what every store takes, and no address has to escape


@dataclass(frozen=True, order=True)
class ObjectPath:
    """An object, or the prefix that stands for a folder. key: bucket and key; options: what its address adds.

    All that asks the store raises LedgerError in one sentence where it can't be reached or refuses, and
    FileNotFoundError where an object is wanted that is not there.
    """

    key: str
    options: str = ""

    def __str__(self) -> str:
        return f"{SCHEME}{self.key}{'?' if self.options else ''}{self.options}"

    def __truediv__(self, name: str) -> ObjectPath:
        return ObjectPath(f"{self.key}/{name}", self.options)

    @property
    def name(self) -> str:
        """The last part of the key."""
        return self.key.rpartition("/")[2]

    @property
    def stem(self) -> str:
        """The name without its ending."""
        return Path(self.name).stem

    @property
    def parent(self) -> ObjectPath:
        """The prefix that it lies under."""
        return ObjectPath(self.key.rpartition("/")[0], self.options)

    def absolute(self) -> ObjectPath:
        """Return it as it is: an address is whole."""
        return self

    def mkdir(self, *, parents: bool = False, exist_ok: bool = False) -> None:
        """Do nothing: a prefix is there once something lies under it."""

    def is_dir(self) -> bool:
        """Return whether the bucket is there and may be looked into."""
        from pyarrow.fs import FileType

        bucket = self.key.partition("/")[0]
        with self._sentences():
            return bool(_store(self.options).get_file_info(bucket).type == FileType.Directory)

    def exists(self) -> bool:
        """Return whether there is an object under this key."""
        return self._info() is not None

    def changed_at(self) -> float:
        """Return when it was written, seconds since 1970."""
        info = self._info()
        if info is None:
            raise FileNotFoundError(str(self))
        changed: datetime = info.mtime
        return changed.timestamp()

    def glob(self, pattern: str) -> Iterator[ObjectPath]:
        """Yield the objects right under this prefix whose names fit; LedgerError where there is no bucket."""
        from pyarrow.fs import FileSelector, FileType

        with self._sentences():
            found = _store(self.options).get_file_info(FileSelector(self.key, allow_not_found=True))
        if not found and not self.is_dir():
            raise LedgerError("store-unreachable", f"There is no bucket for {self}; create it first.")
        for info in found:
            if info.type == FileType.File and fnmatchcase(info.base_name, pattern):
                yield self / info.base_name

    def read_bytes(self) -> bytes:
        """Return what the object holds."""
        with self._sentences(), _store(self.options).open_input_file(self.key) as file:
            content: bytes = file.read()
        return content

    def read_text(self, encoding: str = "utf-8", errors: str = "strict") -> str:
        """Return what the object holds, as text."""
        return self.read_bytes().decode(encoding, errors)

    def write_bytes(self, content: bytes) -> None:
        """Put the object there, in the place of the one before."""
        with self._sentences(), _store(self.options).open_output_stream(self.key) as file:
            file.write(content)

    def write_text(self, text: str, encoding: str = "utf-8") -> None:
        """Put a text there."""
        self.write_bytes(text.encode(encoding))

    def touch(self) -> None:
        """Make it young again: stores let nobody set a time, so it is written anew."""
        self.write_bytes(self.read_bytes())

    def unlink(self, missing_ok: bool = False) -> None:
        """Remove the object."""
        try:
            with self._sentences():
                _store(self.options).delete_file(self.key)
        except FileNotFoundError:
            if not missing_ok:
                raise

    def _info(self) -> Any:
        from pyarrow.fs import FileType

        with self._sentences():
            info = _store(self.options).get_file_info(self.key)
        return info if info.type == FileType.File else None

    @contextmanager
    def _sentences(self) -> Iterator[None]:
        try:
            yield
        except FileNotFoundError:
            raise
        except (OSError, ValueError) as error:
            said = re.search(r"AWS Error ([A-Z_]+)", str(error))
            why = said[1].replace("_", " ").lower() if said else type(error).__name__
            raise LedgerError(
                "store-unreachable",
                f"The object store at {self} can't be used ({why}): look at the network, the address and the"
                " credentials, then try again.",
            ) from error


Place = Path | ObjectPath


def is_object(text: str) -> bool:
    """Tell whether a text is meant as the address of a place in an object store."""
    return text.startswith(SCHEME)


def place(text: str) -> Place:
    """Return the place that `str(place)` told of."""
    return object_path(text) if is_object(text) else Path(text)


def inside(folder: Place, pattern: str) -> list[Place]:
    """Return the files or objects right inside a place whose names fit, in order of their names."""
    found: list[Place] = list(folder.glob(pattern))
    return sorted(found, key=lambda path: path.name)


def changed_at(path: Place) -> float:
    """Return when a file or an object was last written, seconds since 1970."""
    return path.stat().st_mtime if isinstance(path, Path) else path.changed_at()


def object_path(address: str) -> ObjectPath:
    """Return the place that an address tells of; LedgerError in one sentence unless it is a sound one."""

    def refused(why: str) -> LedgerError:
        return LedgerError(
            "bad-store", f"The object store's address {why}; write s3://BUCKET/PREFIX?region=REGION."
        )

    try:
        parts = urlsplit(address)
        options = dict(parse_qsl(parts.query, keep_blank_values=True, strict_parsing=bool(parts.query)))
    except ValueError:
        raise refused("can't be read") from None
    if "@" in parts.netloc:
        raise refused("must hold no keys: they stand in the environment or in ~/.aws/credentials")
    if not _BUCKET.fullmatch(parts.netloc) or not _KEY.fullmatch(parts.path) or parts.fragment:
        raise refused("needs a bucket, and a prefix of plain letters, digits and - _ . /")
    prefix = parts.path.strip("/")
    if not prefix or any(part in ("", ".", "..") for part in prefix.split("/")):
        raise refused("needs a prefix after the bucket, for this ledger alone")
    if strange := sorted(set(options) - _OPTIONS):
        raise refused(f"has {strange[0][:40]!r}; only {' and '.join(sorted(_OPTIONS))} are known")
    if "endpoint_override" in options:
        _refuse_open(options["endpoint_override"], refused)
    return ObjectPath(f"{parts.netloc}/{prefix}", parts.query)


def _refuse_open(endpoint: str, refused: Any) -> None:
    try:
        parts = urlsplit(endpoint)
        host, _ = parts.hostname, parts.port
    except ValueError:
        raise refused("has an endpoint that can't be read") from None
    bare = parts.scheme in ("https", "http") and parts.path in ("", "/") and "@" not in parts.netloc
    if not host or not bare:
        raise refused("has an endpoint that is not https://HOST[:PORT]")
    if parts.scheme == "http" and not is_loopback(host):
        raise refused("has an endpoint without TLS (http), which is for this machine alone (127.0.0.1)")


@cache
def _store(options: str) -> Any:
    """Return the store's file system, one for each set of options: threads share it."""
    from pyarrow.fs import AwsStandardS3RetryStrategy, S3FileSystem

    told: dict[str, str] = dict(parse_qsl(options))
    if "endpoint_override" in told:
        parts = urlsplit(told["endpoint_override"])
        told |= {"endpoint_override": parts.netloc, "scheme": parts.scheme}
        told.setdefault("region", "us-east-1")  # what one's own store answers to; unsaid, others are asked
    return S3FileSystem(
        **told,
        connect_timeout=CONNECTED_WITHIN_S,
        request_timeout=ANSWERED_WITHIN_S,
        retry_strategy=AwsStandardS3RetryStrategy(max_attempts=ATTEMPTS),
    )
