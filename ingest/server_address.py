"""Where a ledger lies on a server: a small file (TOML) that is named in a ledger file's place.

    [server]
    connection = "host=db.example dbname=pumps user=bay"   # the client library's words, or "service=pumps"
    schema = "pumpledger"                                  # the default
    waveforms = "/srv/pumps/waveforms"                     # default: a folder beside this file; or s3://…

The password stands in the client library's own password file, never here.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from pathlib import Path

from ingest.errors import LedgerError
from ingest.object_path import Place, is_object, object_path

ENDING = ".toml"
_KEYS = {"connection", "schema", "waveforms"}
# The client library's words that stand for a secret: the engine shows the connection in its catalogue.
_SECRET = re.compile(r"(password|_client_secret|scram_(client|server)_key)\s*=")
_NAME = re.compile(r"[a-z_][a-z0-9_]{0,39}")


@dataclass(frozen=True)
class Server:
    """Where a ledger is kept: the file that says so, what the client library is told, schema, waveforms."""

    path: Path
    connection: str
    schema: str
    waveforms: Place | None


def is_address(path: Path) -> bool:
    """Tell whether a ledger of this name lies on a server; told by the name alone."""
    return _by_name(path)


def _by_name(path: Path) -> bool:
    return path.suffix == ENDING


def server_of(path: Path) -> Server | None:
    """Return the server that keeps the ledger at `path`, None for a ledger file.

    Raises LedgerError for an address that can't be read.
    """
    if not is_address(path):
        return None
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8")).get("server")
    except FileNotFoundError as error:
        raise LedgerError("no-address", f"There is no file {path}; {_SAY}.") from error
    except (OSError, ValueError) as error:
        raise LedgerError("bad-address", f"{path} can't be read as an address ({error}); {_SAY}.") from error
    if not isinstance(table, dict) or not isinstance(table.get("connection"), str):
        raise LedgerError("bad-address", f"{path} names no server; {_SAY}.")
    if strange := sorted(set(table) - _KEYS):
        raise LedgerError("bad-address", f"{path} has {strange[0]!r} under [server]; only {_ALL} are known.")
    words, schema, waveforms = table["connection"], table.get("schema", "pumpledger"), table.get("waveforms")
    if "://" in words or _SECRET.search(words):
        raise LedgerError(
            "bad-address",
            f"{path} must hold no password and no URL: write connection as words (host=… dbname=… user=…) and"
            " put the password into ~/.pgpass.",
        )
    if not isinstance(schema, str) or not _NAME.fullmatch(schema):
        raise LedgerError(
            "bad-address", f"{path}: schema is a name of small letters, digits and _, at most 40."
        )
    if waveforms is not None and not isinstance(waveforms, str):
        raise LedgerError("bad-address", f"{path}: waveforms names a folder or an object store.")
    return Server(path, words, schema, None if waveforms is None else _waveforms(path, waveforms))


def _waveforms(path: Path, told: str) -> Place:
    if not is_object(told):
        return (path.parent / told).resolve()
    try:
        return object_path(told)
    except LedgerError as error:
        raise LedgerError("bad-address", f"{path}: {error.text}") from None


_ALL = ", ".join(sorted(_KEYS))
_SAY = 'an address has [server] and connection = "host=… dbname=… user=…"'
