"""The page before the pages: where to sign in, or that a person has no role here. Plain HTML, no script."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape
from typing import Any
from urllib.parse import quote

from dashboard.serving.sessions import ROLES

_PAGE = """<!doctype html><html lang="en"><head><meta charset="utf-8"><title>pumpledger</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>body{{font:1.1rem/1.5 system-ui,sans-serif;max-width:34rem;margin:12vh auto;padding:0 1.2rem}}
a.way{{display:inline-block;padding:.8rem 1.4rem;border:2px solid currentColor;border-radius:.3rem;
text-decoration:none;font-weight:600}}@media(prefers-color-scheme:dark){{body{{background:#16191d;color:#eee}}
a{{color:#9cc9ff}}}}</style></head><body><main><h1>pumpledger</h1><p>{words}</p>
<p><a class="way" href="{href}">{label}</a></p></main></body></html>"""


def sign_in() -> str:
    """Return the page that leads to the identity provider."""
    from streamlit.auth_util import encode_provider_token

    href = f"/auth/login?provider={quote(encode_provider_token('default'))}"
    return _PAGE.format(words="Sign in to see the fleet.", href=escape(href), label="Sign in")


def no_role(claims: Mapping[str, Any]) -> str:
    """Return the page for one who signed in and has no role, or whose sign-in no longer holds."""
    from dashboard.serving.sessions import widest_role

    name = str(claims.get("name") or claims.get("email") or "You")
    if widest_role(claims.get("roles")) is not None:
        return sign_in()
    words = f"{name}: no role here yet; ask whoever runs this ledger for one of: {', '.join(ROLES)}."
    return _PAGE.format(words=escape(words), href="/auth/logout", label="Sign out")
