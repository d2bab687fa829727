"""A ledger is written on Linux and on a disk of this machine only; elsewhere one sentence says so."""

import pytest

from ingest.errors import LedgerError
from ingest.ledger import place
from ingest.ledger.connection import open_ledger


@pytest.fixture
def mounts(tmp_path, monkeypatch):
    """Let the system say what the test writes."""
    table = tmp_path / "mounts"
    monkeypatch.setattr(place, "MOUNTS", table)
    return table


def test_the_innermost_mount_counts(tmp_path, mounts):
    inner = tmp_path / "a share"
    inner.mkdir()
    escaped = str(inner).replace(" ", "\\040")
    mounts.write_text(f"/dev/sda1 / ext4 rw 0 0\nhost:/fleet {escaped} nfs4 rw 0 0\n")
    assert place.file_system(inner / "fleet.duckdb") == "nfs4"
    assert place.file_system(tmp_path / "fleet.duckdb") == "ext4"


@pytest.mark.of_a_file
@pytest.mark.parametrize("kind", ["nfs", "nfs4", "cifs", "smb3", "fuse.sshfs"])
def test_nothing_is_written_on_a_share(tmp_path, mounts, kind):
    mounts.write_text(f"host:/fleet {tmp_path} {kind} rw 0 0\n")
    ledger = tmp_path / "fleet.duckdb"
    with (
        pytest.raises(LedgerError, match=f"share of another machine \\({kind}\\)"),
        open_ledger(ledger, read_only=False),
    ):
        pass
    assert not ledger.exists()


def test_a_ledger_on_a_share_can_be_read(tmp_path, mounts):
    ledger = tmp_path / "fleet.duckdb"
    mounts.write_text("/dev/sda1 / ext4 rw 0 0\n")
    with open_ledger(ledger, read_only=False):
        pass
    mounts.write_text(f"host:/fleet {tmp_path} nfs rw 0 0\n")
    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT min(version) FROM schema_version").fetchall() == [(1,)]


@pytest.mark.of_a_file
def test_another_system_is_told_to_use_a_browser(tmp_path, monkeypatch):
    monkeypatch.setattr(place.sys, "platform", "win32")
    with (
        pytest.raises(LedgerError, match=r"tested on Linux only.*in a browser"),
        open_ledger(tmp_path / "fleet.duckdb", read_only=False),
    ):
        pass


def test_where_the_system_tells_nothing_writing_goes_on(tmp_path, mounts):
    assert place.file_system(tmp_path) == ""
    with open_ledger(tmp_path / "fleet.duckdb", read_only=False):
        pass
