"""What the server is told by its environment: whether people sign in, and the address they type.

A misspelt name or value is an error: a lock that was meant and is off must not go unnoticed.
"""

from __future__ import annotations

import difflib
import os
from collections.abc import Mapping
from dataclasses import dataclass
from urllib.parse import urlsplit

from ingest.errors import PumpledgerError

SIGN_IN, PUBLIC_URL, SESSION_HOURS = "PUMPLEDGER_SIGN_IN", "PUMPLEDGER_PUBLIC_URL", "PUMPLEDGER_SESSION_HOURS"
# The ledger; and where the project's own tests find what is not ours to publish.
_OTHERS = ("PUMPLEDGER", "PUMPLEDGER_SHARED")
_YES, _NO = {"1", "true", "yes", "on"}, {"0", "false", "no", "off"}
DEFAULT_SESSION_HOURS = 12.0  # a shift and the way home
LONGEST_SESSION_HOURS = 24.0 * 7


@dataclass(frozen=True)
class ServerSettings:
    """sign_in: people sign in. session_hours: how long that holds at the most.

    public_url: the address people type, "" where only this machine opens the pages.
    """

    sign_in: bool = False
    public_url: str = ""
    session_hours: float = DEFAULT_SESSION_HOURS

    @property
    def secure(self) -> bool:
        """Whether the pages are reached by https."""
        return self.public_url.startswith("https:")

    @property
    def public_host(self) -> str:
        """The host, and the port if one is given, of the public address; "" without one."""
        return urlsplit(self.public_url).netloc.lower()


def read_server_settings(environment: Mapping[str, str] | None = None) -> ServerSettings:
    """Return the settings in the environment; PumpledgerError for a name or value that isn't understood."""
    found = os.environ if environment is None else environment
    known = (SIGN_IN, PUBLIC_URL, SESSION_HOURS, *_OTHERS)
    for name in sorted(found):
        if name.startswith("PUMPLEDGER") and name not in known:
            near = difflib.get_close_matches(name, known, 1)
            raise PumpledgerError(
                "unknown-setting",
                f"{name} is not a setting of this program"
                + (f"; {near[0]} is meant?" if near else f"; there are {', '.join(known[:3])}."),
            )
    return ServerSettings(
        _yes_or_no(SIGN_IN, found.get(SIGN_IN, "")),
        _address(found.get(PUBLIC_URL, "")),
        _hours(found.get(SESSION_HOURS, "")),
    )


def _yes_or_no(name: str, text: str) -> bool:
    said = text.strip().lower()
    if said and said not in _YES | _NO:
        raise PumpledgerError("bad-setting", f"{name} is '{text}'; write 1 (on) or 0 (off).")
    return said in _YES


def _address(text: str) -> str:
    text = text.strip().rstrip("/")
    if not text:
        return ""
    try:
        parts = urlsplit(text)
        port_is_one = parts.port is None or parts.port > 0
    except ValueError:
        port_is_one = False
    if not port_is_one or parts.scheme not in ("http", "https") or not parts.hostname:
        raise PumpledgerError(
            "bad-setting",
            f"{PUBLIC_URL} is '{text}'; write what people type, like https://pumps.example.",
        )
    if parts.path or parts.query or parts.fragment or parts.username or parts.password:
        raise PumpledgerError(
            "bad-setting", f"{PUBLIC_URL} is '{text}'; leave out all but scheme, host and port."
        )
    return f"{parts.scheme}://{parts.netloc.lower()}"


def _hours(text: str) -> float:
    if not text.strip():
        return DEFAULT_SESSION_HOURS
    try:
        hours = float(text)
    except ValueError:
        hours = float("nan")
    if not 0 < hours <= LONGEST_SESSION_HOURS:
        raise PumpledgerError(
            "bad-setting",
            f"{SESSION_HOURS} is '{text}'; write hours above 0 and up to {LONGEST_SESSION_HOURS:.0f}.",
        )
    return hours
