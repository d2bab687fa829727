"""The page is told where its server is and how it looks; nothing else that is served is touched."""

import asyncio
from concurrent.futures import ThreadPoolExecutor

import pytest

from dashboard.serving import serving
from dashboard.serving.server import WHERE, FillHead

PAGE = b"<html><head><title>t</title></head></html>"


def answer(*, accept=b"text/html", kind=b"text/html; charset=utf-8", method="GET", body=PAGE):
    """Return (headers the inner server was asked with, headers sent, body sent) of one request."""
    asked, sent = {}, []

    async def inner(scope, receive, send):
        asked.update(scope["headers"])
        length = str(len(body)).encode()
        await send({"type": "http.response.start", "status": 200,
                    "headers": [(b"content-type", kind), (b"content-length", length)]})  # fmt: skip
        await send({"type": "http.response.body", "body": body[:10], "more_body": True})
        await send({"type": "http.response.body", "body": body[10:]})

    async def send(message):
        sent.append(message)

    scope = {
        "type": "http",
        "method": method,
        "headers": [(b"accept", accept), (b"accept-encoding", b"gzip")],
    }
    # In a thread of its own: a browser test before this one may have left its loop running in this thread.
    with ThreadPoolExecutor(1) as pool:
        pool.submit(asyncio.run, FillHead(inner)(scope, None, send)).result()
    return asked, dict(sent[0]["headers"]), b"".join(m.get("body", b"") for m in sent[1:])


def test_a_page_is_told_where_its_server_is_and_how_it_looks():
    asked, headers, body = answer()
    assert body.startswith(b"<html><head>" + WHERE)
    assert b"[data-testid=" in body[body.index(b"<style>") : body.index(b"</style></head>")]
    assert int(headers[b"content-length"]) == len(body)
    assert b"accept-encoding" not in asked  # a packed page could not be added to


@pytest.mark.parametrize(
    "request_", [{"accept": b"*/*"}, {"kind": b"image/png"}, {"method": "HEAD"}], ids=str
)
def test_anything_else_passes_untouched(request_):
    _, headers, body = answer(**request_)
    assert body == PAGE
    assert int(headers[b"content-length"]) == len(PAGE)


def test_the_dashboard_is_served_so():
    assert str(serving.SERVER) in serving.streamlit_arguments()
    assert serving.SERVER.parents[1] / "app.py" == serving.APP
