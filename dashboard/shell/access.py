"""Who is at the screen. Sign-in is optional and off by default: the dashboard serves this machine alone.

With PUMPLEDGER_SIGN_IN=1 a person signs in with the identity provider described under [auth] in
.streamlit/secrets.toml (OpenID Connect); the claim `roles` holds technician, planner or manager.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from typing import Any

import streamlit as st

from dashboard.shell.navigation import PAGES, ROLES, pages_for

# What a role may do beyond looking at its pages; a later role may do all that an earlier one may.
# work: log visits, work and findings, answer questions; notes: where to clamp; correct: put a visit right or
# withdraw it; facts: units and pump types; plan: decide on the board; load: bring folders in; money: see what
# things cost; prices and settings: set them.
_FROM_ROLE = {
    "work": "technician",
    "notes": "technician",
    "correct": "planner",
    "facts": "planner",
    "plan": "planner",
    "load": "planner",
    "money": "planner",
    "settings": "manager",
    "prices": "manager",
}


@dataclass(frozen=True)
class Person:
    """The one at the screen; role None means that no sign-in is in use and every page is open."""

    name: str | None
    role: str | None


def sign_in_wanted() -> bool:
    """Return whether this installation asks people to sign in."""
    return os.environ.get("PUMPLEDGER_SIGN_IN", "").lower() in {"1", "true", "yes", "on"}


def widest_role(claims: Any) -> str | None:
    """Return the role with the most pages among a token's `roles` claim (text or list), or None."""
    named = [claims] if isinstance(claims, str) else list(claims or [])
    return next((role for role in reversed(ROLES) if role in named), None)


def current_person() -> Person:
    """Return who is here, or show the sign-in page and stop the run."""
    if not sign_in_wanted():
        return Person(None, None)
    if not st.user.get("is_logged_in"):
        st.title("pumpledger")
        st.write("Sign in to see the fleet.")
        st.button("Sign in", type="primary", on_click=st.login)
        st.stop()
    role = widest_role(st.user.get("roles"))
    name = str(st.user.get("name") or st.user.get("email") or "")
    if role is None:
        st.title("pumpledger")
        st.write(f"{name} has no role here yet; ask whoever runs this ledger for one of: {', '.join(ROLES)}.")
        st.button("Sign out", on_click=st.logout)
        st.stop()
    return Person(name, role)


def role_may(role: str | None, what: str) -> bool:
    """Return whether a role may do something; None (no sign-in in use) may do everything."""
    return role is None or ROLES.index(role) >= ROLES.index(_FROM_ROLE[what])


def may(what: str) -> bool:
    """Return whether the one at the screen may do something."""
    return role_may(role(), what)


def sees(view: str) -> bool:
    """Return whether the one at the screen has a page."""
    return PAGES[view] in pages_for(role())


def role() -> str | None:
    """Return the role of the one at the screen (None: no sign-in); the narrowest where the token has none."""
    return (widest_role(st.user.get("roles")) or ROLES[0]) if sign_in_wanted() else None
