"""Serving: loopback by default, another port when one is taken, plain sentences, no server left over."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from dashboard.commands.serve import free_port, wait_for_answer
from dashboard.serving import serving
from ingest import limits
from ingest.errors import PumpledgerError


@pytest.fixture
def taken_port() -> Iterator[int]:
    with socket.socket() as server:
        server.bind(("127.0.0.1", 0))
        server.listen()
        yield server.getsockname()[1]


def test_a_free_port_is_kept() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    assert free_port("127.0.0.1", port) == port


def test_a_taken_port_gives_way_to_the_next(taken_port: int) -> None:
    assert taken_port < free_port("127.0.0.1", taken_port) <= taken_port + 100


def test_a_foreign_address_is_refused_in_a_sentence() -> None:
    with pytest.raises(PumpledgerError, match=r"Can't listen on 203\.0\.113\.9"):
        free_port("203.0.113.9", 8501)


def test_a_dashboard_that_ends_at_once_is_told() -> None:
    process = subprocess.Popen([sys.executable, "-c", "raise SystemExit(3)"])
    process.wait()
    with pytest.raises(PumpledgerError, match="status 3"):
        wait_for_answer(process, "http://127.0.0.1:9", 5)


def test_a_silent_dashboard_is_told(taken_port: int) -> None:
    process = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(30)"])
    try:
        with pytest.raises(PumpledgerError, match="did not answer"):
            wait_for_answer(process, f"http://127.0.0.1:{taken_port}", 0.3)
    finally:
        process.kill()
        process.wait()


@pytest.mark.parametrize("port", ["0", "65536", "abc"])
def test_a_port_that_is_none_is_a_usage_error(port: str, capsys: pytest.CaptureFixture[str]) -> None:
    from dashboard.cli import main

    with pytest.raises(SystemExit) as stopped:
        main(["serve", "--port", port])
    assert stopped.value.code == 2
    assert "is not a port number" in capsys.readouterr().err


def test_serve_with_sign_in_and_no_provider_is_a_sentence(tmp_path, monkeypatch, capsys) -> None:
    from dashboard.cli import main

    pytest.importorskip("authlib")
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setenv("PUMPLEDGER_SIGN_IN", "1")
    assert main(["serve", "--ledger", str(tmp_path / "l.duckdb")]) == 1
    assert "Signing in needs redirect_uri" in capsys.readouterr().err


def test_serve_answers_on_loopback_only_and_stops_with_its_command(tmp_path: Path, taken_port: int) -> None:
    command = [sys.executable, "-m", "dashboard.cli", "serve", "--ledger", str(tmp_path / "l.duckdb")]
    root = Path(__file__).parents[2]
    process = subprocess.Popen(
        [*command, "--port", str(taken_port)],
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(root)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    try:
        assert process.stdout is not None
        line = process.stdout.readline()
        found = re.search(r"http://127\.0\.0\.1:(\d+)", line)
        assert found, line + process.stderr.read() if process.stderr else line
        port = int(found[1])
        assert port != taken_port
        opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
        assert opener.open(f"http://127.0.0.1:{port}/", timeout=20).status == 200
        process.send_signal(signal.SIGTERM)
        process.wait(20)
        with socket.socket() as probe:
            assert probe.connect_ex(("127.0.0.1", port)) != 0
        assert f"Port {taken_port} is in use" in (process.stderr.read() if process.stderr else "")
    finally:
        if process.poll() is None:
            process.kill()


CHILDREN = Path("/proc/self/task") / str(os.getpid()) / "children"


@pytest.mark.skipif(not CHILDREN.exists(), reason="the system doesn't list children")
def test_a_dashboard_that_is_killed_is_started_anew_and_the_log_says_so(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "dashboard.cli", "serve", "--ledger", str(tmp_path / "l.duckdb")]
    process = subprocess.Popen(
        command,
        cwd=tmp_path,
        env=os.environ | {"PYTHONPATH": str(Path(__file__).parents[2])},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stdout is not None
    assert process.stderr is not None
    try:
        found = re.search(r"http://127\.0\.0\.1:(\d+)", process.stdout.readline())
        assert found
        children = Path(f"/proc/{process.pid}/task/{process.pid}/children")
        first = int(children.read_text(encoding="ascii").split()[0])
        os.kill(first, signal.SIGKILL)
        # the sentence comes before the new server, so what answers from here on is that one
        assert "The dashboard ended (by SIGKILL) and is started anew" in process.stderr.readline()
        wait_for_answer(process, f"http://127.0.0.1:{found[1]}", 90)  # type: ignore[arg-type]
        assert first not in map(int, children.read_text(encoding="ascii").split())
        process.send_signal(signal.SIGTERM)
        assert process.wait(20) == 0
    finally:
        if process.poll() is None:
            process.kill()


def test_the_file_box_promises_what_the_readers_take() -> None:
    arguments = serving.streamlit_arguments()
    assert f"--server.maxUploadSize={limits.MAX_FILE_BYTES // 2**20}" in arguments
