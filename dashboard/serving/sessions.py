"""Whose cookie it is and whether it still holds: signature, end, age, role, and no sign-out since.

The framework signs the cookie at sign-in and keeps no list: a copied one would outlive a sign-out by weeks,
and the end that the provider named is not looked at. So what ended is remembered here for the life of the
server, and no sign-in counts longer than `session_hours`.
"""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from ingest.author import ROLES


@dataclass(frozen=True)
class Session:
    """One sign-in: who (the provider's subject), since and until when (s since 1970), the widest role."""

    subject: str
    since: float
    until: float
    role: str | None
    depots: tuple[str, ...] = ()  # those the person is bound to; none named means all

    @property
    def key(self) -> tuple[str, float]:
        """What tells this sign-in from another of the same person."""
        return (self.subject, self.since)


class Ended:
    """The sign-ins that ended before their time; safe to use from several threads."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._ended: dict[tuple[str, float], float] = {}
        self._newest: dict[str, Session] = {}

    def end(self, session: Session) -> None:
        """Remember that a sign-in ended."""
        with self._lock:
            self._ended[session.key] = session.until
            now = time.time()
            self._ended = {key: until for key, until in self._ended.items() if until > now}

    def holds(self, session: Session) -> bool:
        """Return whether a sign-in goes on: not ended, and not followed by one with another role or depots.

        A provider tells of a lost role at the next sign-in only, so that one ends all earlier ones.
        """
        with self._lock:
            newest = self._newest.get(session.subject)
            if newest is None or session.since > newest.since:
                self._newest[session.subject] = newest = session
            if session.key in self._ended:
                return False
            return (newest.role, newest.depots) == (session.role, session.depots)


ENDED = Ended()


def widest_role(claims: Any) -> str | None:
    """Return the role with the most pages among a token's `roles` claim (text or list), or None."""
    named = [claims] if isinstance(claims, str) else list(claims or [])
    return next((role for role in reversed(ROLES) if role in named), None)


def session_of(claims: Mapping[str, Any], session_hours: float) -> Session | None:
    """Return the sign-in that verified claims tell of, or None where they lack a subject or a time."""
    subject, since = claims.get("sub"), claims.get("iat", claims.get("auth_time"))
    if not claims.get("is_logged_in") or not subject or not isinstance(since, int | float):
        return None
    until = float(since) + session_hours * 3600
    if isinstance(claims.get("exp"), int | float):
        until = min(until, float(claims["exp"]))
    role, depots = widest_role(claims.get("roles")), depots_in(claims.get("depots"))
    return Session(str(subject), float(since), until, role if depots is not None else None, depots or ())


def depots_in(claims: Any) -> tuple[str, ...] | None:
    """Return the depots in a token's `depots` claim, text or list: () without one, None for nonsense."""
    if claims is None:
        return ()
    named = [claims] if isinstance(claims, str) else claims
    if (
        not isinstance(named, list | tuple)
        or not named
        or not all(isinstance(d, str) and d.strip() for d in named)
    ):
        return None
    return tuple(sorted({depot.strip() for depot in named}))


def still_holds(session: Session | None, ended: Ended = ENDED, now: float | None = None) -> bool:
    """Return whether a sign-in lets its person in now."""
    if session is None or session.role is None:
        return False
    return session.since - 120 <= (time.time() if now is None else now) < session.until and ended.holds(
        session
    )


def claims_of_cookies(cookies: Mapping[str, str]) -> dict[str, Any] | None:
    """Return the claims in the framework's signed cookie; None where there is none, or a tampered one."""
    from streamlit.web.server.starlette import starlette_websocket as theirs

    try:
        signed = theirs._get_signed_cookie_with_chunks(dict(cookies), theirs.USER_COOKIE_NAME)
        claims = json.loads(signed) if signed else None
    except (ValueError, UnicodeError):
        return None
    return claims if isinstance(claims, dict) else None
