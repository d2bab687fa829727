"""A ledger on PostgreSQL: its cases (server_cases.py) on the engine that has what reaches a server."""

import os
import re
import shutil
import subprocess
import tomllib
from pathlib import Path

import pytest

from tests.postgres import programs

PROJECT = Path(__file__).parents[2] / "pyproject.toml"
CASES = Path(__file__).with_name("server_cases.py")


def test_a_ledger_on_a_server():
    """By overlay of the extra `server`; skipped where it or PostgreSQL can't be had, but not in CI."""
    extra = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["project"]["optional-dependencies"]["server"]
    run = ["uv", "run", "--no-sync", "--quiet", *(part for name in extra for part in ("--with", name))]
    why = "uv is not installed" if not shutil.which("uv") else None
    why = why or (None if programs() else "PostgreSQL is not installed")
    if not why:
        probe = subprocess.run(
            [*run, "python", "-c", "import psycopg, duckdb_extension_postgres_scanner"],
            capture_output=True, text=True, timeout=250,
        )  # fmt: skip
        why = f"the extra `server` can't be had: {probe.stderr[-300:]}" if probe.returncode else None
    if why:
        if os.environ.get("CI"):
            pytest.fail(why)
        pytest.skip(why)
    done = subprocess.run(
        [*run, "python", "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", CASES],
        capture_output=True, text=True, timeout=280,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    passed = re.search(r"(\d+) passed", done.stdout)
    assert passed
    assert int(passed[1]) == CASES.read_text(encoding="utf-8").count("\ndef test_")
