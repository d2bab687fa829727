"""What `pumpledger serve` runs: Streamlit's own server behind our guard, its page told two things.

Where its server is: opened at a deep address such as /plan-board, the page in the browser would otherwise
look for it under that address first, find nothing twice, wait a moment and only then ask at the root. And its
style: as a part of the page it would be sent with every redraw, and need code of its own to be loaded.
"""

from __future__ import annotations

import logging
from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

from dashboard.serving.configuration import read_server_settings
from dashboard.serving.guard import App, Guard, Message, Receive, Send, wants_page

WHERE = b"<script>window.__streamlit={BACKEND_BASE_URL:location.origin+'/'}</script>"

DASHBOARD = Path(__file__).parents[1]
STYLE = DASHBOARD / "theme" / "pages.css"


class FillHead:
    """Adds to the head of every page of HTML; anything else passes through untouched."""

    def __init__(self, app: App):
        self.app = app
        self.style = f"<style>{STYLE.read_text(encoding='utf-8')}</style>".encode()

    async def __call__(self, scope: Message, receive: Receive, send: Send) -> None:
        """Serve one request (ASGI)."""
        if scope["type"] != "http" or not wants_page(scope):
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


def log_children() -> None:
    """Let the log, standard error, tell of children that ended over a file and were replaced."""
    children = logging.getLogger("ingest.apart")
    if children.handlers:
        return
    handler = logging.StreamHandler()
    handler.setFormatter(logging.Formatter("%(asctime)s %(message)s"))
    children.addHandler(handler)
    children.setLevel(logging.INFO)
    children.propagate = False


log_children()
MIDDLEWARE = [Middleware(Guard, settings=read_server_settings()), Middleware(FillHead)]
app = st.App(DASHBOARD / "app.py", middleware=MIDDLEWARE)
