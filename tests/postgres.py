"""A PostgreSQL of the distribution's for tests: in a folder of its own, under an unprivileged user."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import tempfile
import time
import uuid
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

import pytest

PASSWORD = "pass-7f3c-word"
PORT = 54330  # of a socket in a folder of its own, so that it is nobody else's


@dataclass
class Postgres:
    """One running server; `words` is how the client library reaches it."""

    programs: Path
    folder: Path

    @property
    def words(self) -> str:
        return (
            f"host={self.folder} port={PORT} dbname=postgres user=fleet passfile={self.folder / 'passfile'}"
        )

    def address(self, path: Path, **more: str) -> Path:
        """Write an address file with a schema of its own, and return it."""
        said = {"connection": self.words, "schema": f"t{uuid.uuid4().hex[:12]}"} | more
        path.write_text("[server]\n" + "".join(f'{k} = "{v}"\n' for k, v in said.items()), encoding="utf-8")
        return path

    def start(self) -> None:
        said = f"-k {self.folder} -p {PORT} -c listen_addresses= -c max_connections=200"
        self.run("pg_ctl", "-D", self.folder / "data", "-l", self.folder / "log", "-w", "-o", said, "start")

    def kill(self) -> None:
        """End it as a power cut would: kill -9 of every process of it."""
        first = int((self.folder / "data/postmaster.pid").read_text().split()[0])
        others = Path(f"/proc/{first}/task/{first}/children").read_text().split()
        for process in (first, *map(int, others)):
            with suppress(ProcessLookupError):  # it had just ended by itself
                os.kill(process, signal.SIGKILL)
        while Path(f"/proc/{first}").exists():
            time.sleep(0.01)

    def stop(self) -> None:
        self.run("pg_ctl", "-D", self.folder / "data", "-m", "immediate", "stop")

    def run(self, program: str, *arguments: object) -> None:
        other = {"user": "nobody", "group": "nogroup", "extra_groups": []} if os.getuid() == 0 else {}
        command = [str(self.programs / program), *map(str, arguments)]
        env = {"PATH": os.environ["PATH"], "HOME": str(self.folder)}
        done = subprocess.run(  # its log is a file: a pipe would stay open as long as the server runs
            command, env=env, cwd=self.folder, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE
            if program == "initdb" else subprocess.DEVNULL, **other,
        )  # fmt: skip
        if done.returncode:
            log = self.folder / "log"
            raise RuntimeError(f"{program}: {done.stderr!r} {log.read_text() if log.exists() else ''}")


def programs() -> Path | None:
    """Return the folder of the server's programs, the newest installed, None where there is none."""
    folders = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name))
    found = shutil.which("initdb")
    folders += [Path(found).resolve().parent] if found else []
    return next((p for p in reversed(folders) if (p / "initdb").exists()), None)


@contextmanager
def running(folder: Path) -> Iterator[Postgres]:
    """Make and start a server in `folder`, and stop it; skips where none is installed, but not in CI."""
    there = programs()
    if there is None:
        if os.environ.get("CI"):
            pytest.fail("PostgreSQL is not installed")
        pytest.skip("PostgreSQL is not installed")
    home = Path("/tmp") / f"pumpledger-{uuid.uuid4().hex[:8]}"  # a socket's path may not be long
    home.mkdir(mode=0o700)
    server = Postgres(there, home)
    (home / "password").write_text(PASSWORD + "\n")
    if os.getuid() == 0:
        for path in (home, home / "password"):
            shutil.chown(path, "nobody", "nogroup")
    try:
        server.run(
            "initdb", "-D", home / "data", "-U", "fleet", "-A", "scram-sha-256",
            "--pwfile", home / "password", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync",
        )  # fmt: skip
        (home / "passfile").write_text(f"*:*:*:*:{PASSWORD}\n")
        (home / "passfile").chmod(0o600)
        server.start()
        try:
            yield server
        finally:
            server.stop()
    finally:
        shutil.rmtree(home, ignore_errors=True)


@contextmanager
def every_ledger_on(server: Postgres) -> Iterator[None]:
    """Let a ledger file that is written anew be the address of a schema of its own.

    What every script makes of nothing is made once and carried to each, with an identity of its own.
    """
    from ingest import server_address
    from ingest.ledger import connection, server_carrying
    from ingest.ledger.gate import connect_once
    from ingest.ledger.server_carrying import bring, fetch
    from ingest.ledger.server_engine import turn

    real, by_name = server_address.server_of, server_address._by_name
    apply, first = server_carrying._apply, server.folder / "new.duckdb"

    def apply_or_copy(file: Path, version: int) -> None:
        if version:
            apply(file, version)
            return
        if not first.exists():
            apply(first, 0)
        copyfile(first, file)
        with connect_once(file, read_only=False) as made:
            made.execute("UPDATE ledger_identity SET ledger_id = CAST(uuid() AS VARCHAR)")

    def is_address(path: Path) -> bool:
        return by_name(path) or holds_address(path)

    def holds_address(path: Path) -> bool:  # a folder's fleet.toml bears such a name and is none
        try:
            with path.open("rb") as file:
                return file.read(8) == b"[server]"
        except OSError:
            return False

    def server_of(path: Path) -> server_address.Server | None:
        if not path.exists() and path.parent.is_dir():
            server.address(path)
        return real(path)

    copyfile = shutil.copyfile

    def copy(source: Path, to: Path, **how: bool) -> Path:
        if not holds_address(Path(source)):
            return copyfile(source, to, **how)
        with tempfile.TemporaryDirectory() as folder:
            file = Path(folder) / "copy.duckdb"
            fetch(real(Path(source)), file)
            own = real(server.address(Path(to)))
            with turn(own, 10.0) as talk:
                bring(talk, own, file)
        return Path(to)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(shutil, "copyfile", copy)
        patch.setattr(server_address, "_by_name", is_address)
        patch.setattr(connection, "server_of", server_of)
        patch.setattr(server_carrying, "_apply", apply_or_copy)
        yield
