"""What every request passes before the framework sees it: the right address, who asks, and a policy back.

- Host must be the public address or this machine's own, and Origin, where the browser sends one, must be the
  host asked: pages of other sites reach nothing through somebody's browser, and no name made to point at this
  machine does. The framework is never asked about an origin, as it would look one up outside.
- Where people sign in, all but the way in and the framework's own code wants a sign-in that still holds.
- Every answer carries a policy under which the browser asks this server alone, whatever text a page shows.
"""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Awaitable, Callable, MutableMapping
from http.cookies import CookieError, SimpleCookie
from typing import Any
from urllib.parse import urlsplit

from dashboard.serving import entrance
from dashboard.serving.configuration import ServerSettings
from dashboard.serving.sessions import ENDED, claims_of_cookies, session_of, still_holds
from ingest.loopback import is_loopback

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Message, Receive, Send], Awaitable[None]]

POLICY = (
    "default-src 'self'; script-src 'self' blob:{hashes}; style-src 'self' 'unsafe-inline';"
    " img-src 'self' data: blob:; font-src 'self' data:; connect-src 'self'; object-src 'none';"
    " base-uri 'self'; form-action 'self'; frame-ancestors 'none'"
)
FIXED_HEADERS = (
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"x-frame-options", b"DENY"),
)
_INLINE_SCRIPT = re.compile(rb"<script>(.*?)</script>", re.DOTALL)
# The framework's own code and the way in: open to anybody, and nothing of the fleet in them.
_OPEN = re.compile(r"/(static/.*|favicon\.png|_stcore/health|auth/login|oauth2callback)")
# What the framework offers to programs, and we don't; and ways round about.
_CLOSED = re.compile(r"/_stcore/(agent|metrics)(/.*)?|.*/\.\.?(/.*)?")


class Guard:
    """The outermost part of the server (ASGI)."""

    def __init__(self, app: App, settings: ServerSettings):
        self.app = app
        self.settings = settings

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Serve one request or connection."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        headers = _text_of(scope["headers"])
        wrong = self._wrong_address(headers) or self._wrong_path(scope)
        if wrong:
            await _refuse(scope, receive, send, *wrong)
            return
        if self.settings.sign_in and not _OPEN.fullmatch(scope["path"]):
            claims = claims_of_cookies(_cookies(headers.get("cookie", "")))
            session = session_of(claims, self.settings.session_hours) if claims else None
            if scope["path"] == "/auth/logout" and session is not None:
                ENDED.end(session)
            elif not still_holds(session):
                await self._ask_in(scope, receive, send, claims if session is not None else None)
                return
        await self.app(scope, receive, self._with_policy(scope, send))

    def _wrong_address(self, headers: dict[str, str]) -> tuple[int, str] | None:
        host = headers.get("host", "").lower()
        try:
            name = urlsplit(f"//{host}").hostname or ""
        except ValueError:
            name = ""
        if not host or (host != self.settings.public_host and not is_loopback(name)):
            return 421, "This server doesn't go by that name. Open it at the address that it was set up with."
        origin = headers.get("origin")
        if origin is not None and urlsplit(origin).netloc.lower() != host:
            return 403, "This was asked for by a page of another site; open this server's own pages instead."
        return None

    def _wrong_path(self, scope: Message) -> tuple[int, str] | None:
        if _CLOSED.fullmatch(scope["path"]):
            return 404, "There is nothing at this address."
        return None

    async def _ask_in(self, scope: Message, receive: Receive, send: Send, claims: Any) -> None:
        """Show the way in to a person, and nothing to anything else."""
        if scope["type"] == "http" and wants_page(scope):
            page = entrance.no_role(claims) if claims else entrance.sign_in()
            await _answer(send, 200 if not claims else 403, page.encode(), b"text/html; charset=utf-8")
        else:
            await _refuse(scope, receive, send, 401, "Sign in first.")

    def _with_policy(self, scope: Message, send: Send) -> Send:
        if scope["type"] != "http":
            return send
        secure = self.settings.secure
        held: Message | None = None

        async def add(message: Message) -> None:
            nonlocal held
            if message["type"] == "http.response.start":
                held = message  # a page's policy names its own inline scripts, so its body comes first
                return
            if held is not None:
                start, held = held, None
                page = dict(start["headers"]).get(b"content-type", b"").startswith(b"text/html")
                hashes = script_hashes(message.get("body", b"")) if page else ""
                start["headers"] = policy_headers(start["headers"], hashes, secure=secure)
                await send(start)
            await send(message)

        return add


def policy_headers(headers: Any, hashes: str, *, secure: bool) -> list[tuple[bytes, bytes]]:
    """Return an answer's headers with the policy; cookies are for https alone where the pages are."""
    ours = {b"content-security-policy", *(name for name, _ in FIXED_HEADERS)}
    kept = []
    for name, value in headers:
        if name.lower() in ours:
            continue
        if secure and name.lower() == b"set-cookie" and b"secure" not in value.lower():
            value += b"; Secure"
        kept.append((name, value))
    return [*kept, (b"content-security-policy", POLICY.format(hashes=hashes).encode()), *FIXED_HEADERS]


def script_hashes(page: bytes) -> str:
    """Return the policy's sources for a page's own inline scripts (Content Security Policy Level 3)."""
    found = dict.fromkeys(
        base64.b64encode(hashlib.sha256(script).digest()).decode() for script in _INLINE_SCRIPT.findall(page)
    )
    return "".join(f" 'sha256-{digest}'" for digest in found)


def wants_page(scope: Message) -> bool:
    """Return whether a browser asks for a page of HTML."""
    accepted = next((value for name, value in scope["headers"] if name == b"accept"), b"")
    return scope["method"] == "GET" and b"text/html" in accepted


def _text_of(headers: Any) -> dict[str, str]:
    return {name.decode("latin-1").lower(): value.decode("latin-1") for name, value in headers}


def _cookies(header: str) -> dict[str, str]:
    # One odd cookie of somebody else's must not hide ours, so each is read by itself.
    found: dict[str, str] = {}
    for piece in header.split(";"):
        try:
            found |= {name: morsel.value for name, morsel in SimpleCookie(piece.strip()).items()}
        except CookieError:
            continue
    return found


async def _refuse(scope: Message, receive: Receive, send: Send, status: int, sentence: str) -> None:
    if scope["type"] == "websocket":
        await receive()  # the connection request that is refused
        await send({"type": "websocket.close", "code": 1008, "reason": sentence})
        return
    await _answer(send, status, sentence.encode(), b"text/plain; charset=utf-8")


async def _answer(send: Send, status: int, body: bytes, kind: bytes) -> None:
    headers = policy_headers(
        [
            (b"content-type", kind),
            (b"content-length", str(len(body)).encode()),
            (b"cache-control", b"no-store"),
        ],
        script_hashes(body),
        secure=False,
    )
    await send({"type": "http.response.start", "status": status, "headers": headers})
    await send({"type": "http.response.body", "body": body})
