"""Who is at the screen. Sign-in is optional and off by default: the dashboard serves this machine alone.

With PUMPLEDGER_SIGN_IN=1 a person signs in with the identity provider described under [auth] in
.streamlit/secrets.toml (OpenID Connect); the claim `roles` holds technician, planner or manager, and `depots`
the depots somebody is bound to. Who has not
signed in never gets here (dashboard/serving/guard.py); here it is looked at again at every run of a page, as
a page stays connected for hours.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import streamlit as st

from dashboard.serving.configuration import read_server_settings
from dashboard.serving.sessions import session_of, still_holds, widest_role
from dashboard.shell import say
from dashboard.shell.initials import remember
from dashboard.shell.navigation import PAGES, ROLES, pages_for
from ingest.author import FROM_ROLE, NO_SIGN_IN, Author
from ingest.errors import EntryRefused


@dataclass(frozen=True)
class Person:
    """The one at the screen; role None means that no sign-in is in use and every page is open."""

    name: str | None
    role: str | None
    depots: tuple[str, ...] = ()  # those they are bound to; none named means all


def sign_in_wanted() -> bool:
    """Return whether this installation asks people to sign in."""
    return read_server_settings().sign_in


def current_person() -> Person:
    """Return who is here; where the sign-in no longer holds, say so and stop the run."""
    if not sign_in_wanted():
        return Person(None, None)
    claims: dict[str, Any] = dict(st.user)
    session = session_of(claims, read_server_settings().session_hours)
    if session is None or not still_holds(session):
        st.title("pumpledger")
        say.line("Your sign-in has ended. Load this page again to sign in; what was saved stands.")
        st.stop()
    return Person(str(claims.get("name") or claims.get("email") or ""), session.role, session.depots)


def author(initials: str | None) -> Author:
    """Return who saves: the one signed in, else whoever gave these initials (None: not asked for).

    Raises EntryRefused where they were asked for and not given.
    """
    if initials is not None and not initials.strip():
        raise EntryRefused("missing", "Give your initials first.")
    if initials is not None:
        remember(initials)
    person = current_person()
    if person.role is not None:
        return Author(person.name or "unnamed", person.role, person.depots)
    return NO_SIGN_IN.signing(initials)


def role_may(role: str | None, what: str) -> bool:
    """Return whether a role may do something; None (no sign-in in use) may do everything."""
    return role is None or ROLES.index(role) >= ROLES.index(FROM_ROLE[what])


def may(what: str) -> bool:
    """Return whether the one at the screen may do something."""
    return role_may(role(), what)


def sees(view: str) -> bool:
    """Return whether the one at the screen has a page."""
    return PAGES[view] in pages_for(role())


def role() -> str | None:
    """Return the role of the one at the screen (None: no sign-in); the narrowest where the token has none."""
    return (widest_role(st.user.get("roles")) or ROLES[0]) if sign_in_wanted() else None
