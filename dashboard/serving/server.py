"""What `pumpledger serve` runs: Streamlit's own server, whose page is told two things in its head.

Where its server is: opened at a deep address such as /plan-board, the page in the browser would otherwise
look for it under that address first, find nothing twice, wait a moment and only then ask at the root. And its
style: as a part of the page it would be sent with every redraw, and need code of its own to be loaded.
"""

from __future__ import annotations

from collections.abc import Awaitable, Callable, MutableMapping
from pathlib import Path
from typing import Any

import streamlit as st
from starlette.middleware import Middleware

Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]

WHERE = b"<script>window.__streamlit={BACKEND_BASE_URL:location.origin+'/'}</script>"

DASHBOARD = Path(__file__).parents[1]
STYLE = DASHBOARD / "theme" / "pages.css"


class FillHead:
    """Adds to the head of every page of HTML; anything else passes through untouched."""

    def __init__(self, app: Callable[[Message, Receive, Send], Awaitable[None]]):
        self.app = app
        self.style = f"<style>{STYLE.read_text(encoding='utf-8')}</style>".encode()

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Serve one request (ASGI)."""
        if scope["type"] != "http" or not _asks_for_a_page(scope):
            await self.app(scope, receive, send)
            return
        plain = [(name, value) for name, value in scope["headers"] if name != b"accept-encoding"]
        started: Message | None = None
        body = b""

        async def add(message: Message) -> None:
            nonlocal started, body
            if message["type"] == "http.response.start":
                started = message
                return
            body += message.get("body", b"")
            if message.get("more_body") or started is None:
                return
            if dict(started["headers"]).get(b"content-type", b"").startswith(b"text/html"):
                body = body.replace(b"<head>", b"<head>" + WHERE, 1)
                body = body.replace(b"</head>", self.style + b"</head>", 1)
                kept = [pair for pair in started["headers"] if pair[0] != b"content-length"]
                started["headers"] = [*kept, (b"content-length", str(len(body)).encode())]
            await send(started)
            await send({"type": "http.response.body", "body": body})

        await self.app({**scope, "headers": plain}, receive, add)


def _asks_for_a_page(scope: Message) -> bool:
    accepted = next((value for name, value in scope["headers"] if name == b"accept"), b"")
    return scope["method"] == "GET" and b"text/html" in accepted


app = st.App(DASHBOARD / "app.py", middleware=[Middleware(FillHead)])
