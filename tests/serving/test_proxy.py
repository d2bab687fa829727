"""The proxy's configuration in docs/security.md, run with nginx as it stands there."""

from __future__ import annotations

import http.client
import os
import re
import shutil
import socket
import ssl
import subprocess
import time
from pathlib import Path

import pytest

from tests.browser.browsing import LEAN, free_port, served
from tests.ledger_fixture import build_ledger

DOCS = Path(__file__).parents[2] / "docs" / "security.md"
HOST = "pumps.example"


def program(name: str) -> str:
    found = shutil.which(name, path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail(f"{name} is missing, and this test must run here")
        pytest.skip(f"needs {name}")
    return found


@pytest.fixture(scope="module")
def proxied(tmp_path_factory):
    """A served ledger behind nginx as documented; yields the proxy's TLS port, its folder and a way to end
    what it stands before."""
    nginx, openssl = program("nginx"), program("openssl")
    folder = tmp_path_factory.mktemp("proxy")
    subprocess.run(
        [openssl, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", f"/CN={HOST}",
         "-addext", f"subjectAltName=DNS:{HOST}", "-keyout", folder / "key.pem", "-out", folder / "cert.pem"],
        check=True, capture_output=True,
    )  # fmt: skip
    port, behind = free_port(), free_port()
    [block] = re.findall(r"^ {4}server \{.*?^ {4}\}", DOCS.read_text(encoding="utf-8"), re.S | re.M)
    here = {
        "listen 443 ssl": f"listen 127.0.0.1:{port} ssl",
        "/etc/ssl/pumps.example.crt": f"{folder}/cert.pem",
        "/etc/ssl/pumps.example.key": f"{folder}/key.pem",
        "/var/log/nginx/error.log": f"{folder}/error.log",
        "http://127.0.0.1:8501": f"http://127.0.0.1:{behind}",
    }
    for documented, ours in here.items():
        assert documented in block
        block = block.replace(documented, ours)
    kept = "".join(
        f"{kind}_temp_path {folder}/{kind}; " for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    conf = folder / "nginx.conf"
    conf.write_text(f"pid {folder}/pid; error_log {folder}/start.log; daemon off; events {{}}\n"
                    f"http {{ {kept} access_log {folder}/access.log;\n{block}\n}}\n")  # fmt: skip
    ledger = build_ledger(folder / "fleet.duckdb")
    with served(ledger, LEAN, port=behind, PUMPLEDGER_PUBLIC_URL=f"https://{HOST}"):
        running = subprocess.Popen([nginx, "-p", folder, "-c", conf], stderr=subprocess.PIPE)
        try:
            while running.poll() is None:
                try:
                    socket.create_connection(("127.0.0.1", port), 1).close()
                    break
                except OSError:
                    time.sleep(0.05)
            assert running.poll() is None, running.stderr.read().decode()
            yield port, folder
        finally:
            running.terminate()
            running.wait(10)


def ask(proxied, method="GET", path="/", host=HOST, **headers):
    """Ask over TLS, the certificate and its name checked; returns the answer, read."""
    port, folder = proxied
    context = ssl.create_default_context(cafile=folder / "cert.pem")
    connection = http.client.HTTPSConnection(HOST, port, timeout=60, context=context)
    raw = socket.create_connection(("127.0.0.1", port), 60)
    connection.sock = context.wrap_socket(raw, server_hostname=HOST)
    connection.request(method, path, headers={"Host": host, **headers})
    answer = connection.getresponse()
    if answer.status != 101:
        answer.read()
    return answer


def upgrade(origin):
    return {
        "Connection": "Upgrade", "Upgrade": "websocket", "Sec-WebSocket-Version": "13", "Origin": origin,
        "Sec-WebSocket-Key": "dGhlIHNhbXBsZSBub25jZQ==",
    }  # fmt: skip


def test_pages_come_through_with_their_policy(proxied):
    answer = ask(proxied, Accept="text/html")
    assert answer.status == 200
    assert "default-src 'self'" in answer.getheader("Content-Security-Policy")
    assert answer.getheader("Strict-Transport-Security")


def test_the_live_connection_comes_through_for_the_servers_own_pages_alone(proxied):
    assert ask(proxied, path="/_stcore/stream", **upgrade(f"https://{HOST}")).status == 101
    assert ask(proxied, path="/_stcore/stream", **upgrade("https://elsewhere.example")).status == 403


@pytest.mark.parametrize("host", ["elsewhere.example", "pumps.example.elsewhere.example"])
def test_another_name_gets_nothing(proxied, host):
    assert ask(proxied, host=host, Accept="text/html").status == 421


def test_without_tls_nothing_is_said(proxied):
    connection = http.client.HTTPConnection("127.0.0.1", proxied[0], timeout=60)
    connection.request("GET", "/", headers={"Host": HOST})
    answer = connection.getresponse()
    assert answer.status == 400
    assert b"pumpledger" not in answer.read()


def test_no_log_holds_a_query(proxied):
    _port, folder = proxied
    assert ask(proxied, path="/pump?pump=1&find_unit=SECRET", Accept="text/html").status == 200
    assert ask(proxied, method="POST", path="/nowhere?find_unit=SECRET").status >= 400
    logs = [path for path in folder.glob("*.log") if path.exists()]
    assert all("SECRET" not in path.read_text() for path in logs)
