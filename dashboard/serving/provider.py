"""Is the server ready for people to sign in? Asked before it starts, or the first of them finds out."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from dashboard.serving.configuration import PUBLIC_URL, ServerSettings
from ingest.errors import PumpledgerError
from ingest.extras import how_to_install
from ingest.loopback import is_loopback

NEEDED = ("redirect_uri", "cookie_secret", "client_id", "client_secret", "server_metadata_url")
BACK = "/oauth2callback"


def secrets_files() -> tuple[Path, ...]:
    """Return where the framework looks for the provider; a later one counts before an earlier."""
    return tuple(folder / ".streamlit" / "secrets.toml" for folder in (Path.home(), Path.cwd()))


def refuse_unready_sign_in(settings: ServerSettings, files: Iterable[Path] | None = None) -> None:
    """Raise PumpledgerError where people are to sign in and can't, for want of a library, a provider, or an
    address to come back to that is the one they type."""
    if not settings.sign_in:
        return
    if find_spec("authlib") is None:
        raise PumpledgerError(
            "no-sign-in-extra", f"What signs people in isn't installed: {how_to_install('sign-in')}."
        )
    told = _provider(secrets_files() if files is None else files)
    missing = [name for name in NEEDED if not isinstance(told.get(name), str) or not told[name].strip()]
    if missing:
        raise PumpledgerError(
            "no-provider",
            f"Signing in needs {', '.join(missing)} under [auth] in .streamlit/secrets.toml (docs/pages.md).",
        )
    back = told["redirect_uri"].strip()
    if not _leads_here(back, settings):
        here = settings.public_url or "http://127.0.0.1:8501"
        raise PumpledgerError(
            "provider-leads-elsewhere",
            f"After signing in the provider would lead people to {back!r}, which isn't this server: set"
            f" redirect_uri to {here}{BACK}, or {PUBLIC_URL} to the address that they type.",
        )


def _leads_here(back: str, settings: ServerSettings) -> bool:
    try:
        parts = urlsplit(back)
        host, path = parts.hostname or "", parts.path
    except ValueError:
        return False
    if settings.public_url:
        return f"{parts.scheme}://{parts.netloc.lower()}" == settings.public_url and path == BACK
    return parts.scheme in ("http", "https") and is_loopback(host) and path == BACK


def _provider(files: Iterable[Path]) -> dict[str, Any]:
    told: Any = {}
    for file in files:
        try:
            told = tomllib.loads(file.read_text(encoding="utf-8")).get("auth", told)
        except FileNotFoundError:
            continue
        except (OSError, ValueError) as error:  # unreadable, not UTF-8, not TOML
            raise PumpledgerError(
                "bad-secrets", f"{file} can't be read as TOML ({error}); put it right, or take it away."
            ) from error
    return told if isinstance(told, dict) else {}
