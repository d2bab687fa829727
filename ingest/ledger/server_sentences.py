"""What the server and its client library say, and what it means to the person."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager

import duckdb

from ingest.errors import LedgerError
from ingest.ledger.retried import RACED
from ingest.server_address import Server

# The first that fits counts.
_SENTENCES: tuple[tuple[str, str, str], ...] = (
    (
        r"password authentication failed|no password supplied|no pg_hba\.conf entry|role .* does not exist"
        r"|authentication failed",
        "server-refused",
        "The server of {path} lets nobody in with that user and password: see user in its connection, and the"
        " password in ~/.pgpass (readable by its owner alone). Nothing was changed.",
    ),
    (
        r"database .* does not exist",
        "no-database",
        "The server of {path} has no such database: see dbname in its connection.",
    ),
    (
        r"definition of service|service file",
        "no-service",
        "The service that {path} names isn't in the service file (~/.pg_service.conf).",
    ),
    (
        r"invalid connection option|missing \"=\" after|unterminated quoted",
        "bad-address",
        "The connection in {path} isn't understood: write it as host=… dbname=… user=….",
    ),
    (
        r"permission denied|must be owner",
        "server-may-not",
        "The user in {path} may not do this on the server ({said}): let it own the database. Nothing was"
        " changed.",
    ),
    (
        r"No space left|could not extend file|disk full",
        "disk-full",
        "The ledger of {path} can't be written: on its server the disk is full; nothing of this entry was"
        " stored. Free some space and try again.",
    ),
    (
        r"could not serialize|deadlock detected|duplicate key value",
        RACED,
        "Another program wrote to the ledger of {path} at the same moment; nothing was changed, try again.",
    ),
    (
        r"lock timeout|canceling statement due to lock",
        "ledger-busy",
        "Another program wrote to the ledger of {path} at the same moment; nothing was changed, try again.",
    ),
    (
        r"Connection refused|No such file or directory|could not translate host|timeout expired"
        r"|[Uu]nable to connect|could not connect|connection failed|starting up|shutting down"
        r"|too many clients|remaining connection slots",
        "server-away",
        "The server of {path} can't be reached: see that it runs and that host and port in its connection are"
        " right. Nothing was changed.",
    ),
    (
        r"server closed the connection|terminating connection|[Cc]onnection (is )?(already )?closed|"
        r"connection to server was lost|no connection to the server|consuming input failed|SSL SYSCALL"
        r"|connection not open|Connection reset|Broken pipe",
        "server-lost",
        "The server of {path} went away meanwhile; what was under way is either stored whole or not at all:"
        " look before you enter it again.",
    ),
)


@contextmanager
def as_sentences(server: Server, client: type[Exception] = duckdb.Error) -> Iterator[None]:
    """Turn what the engine, or the server's client library, says of the server into a LedgerError.

    client: the root of that library's errors.
    """
    try:
        yield
    except (duckdb.Error, client) as error:
        text = str(error)
        for signs, code, sentence in _SENTENCES:
            if re.search(signs, text):
                said = text.splitlines()[0].strip().rstrip(".")
                raise LedgerError(code, sentence.format(path=server.path, said=said)) from error
        raise
