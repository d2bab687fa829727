"""Waveforms in an object store: an S3 server on this machine in the place of the folder beside the ledger."""

import socket
from dataclasses import replace

import pytest

from ingest.chains.chain import Chain, Link, Work, measure_chain
from ingest.chains.running import Where, run_chains
from ingest.errors import LedgerError
from ingest.ledger.backup import backup
from ingest.ledger.forgetting import forget_names
from ingest.ledger.upkeep import check_ledger
from ingest.ledger.visit_rows import meter_reading
from ingest.ledger.waveform_home import MARK
from ingest.object_path import ObjectPath, object_path, place
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from ingest.waveforms import load_waveform, read_waveform, store_waveform, waveform_folder
from tests.authors import ANYBODY
from tests.chains.captures import chains_in, rows_of
from tests.ledger_fixture import small_capture

BUCKET = "pumps"


@pytest.fixture(scope="module")
def store():
    """Return the address of an S3 server of this test's own, less the prefix."""
    server = pytest.importorskip("moto.server", reason="the group object-store is not installed")
    from pyarrow.fs import S3FileSystem

    told = {"AWS_ACCESS_KEY_ID": "bench", "AWS_SECRET_ACCESS_KEY": "bench"}
    running = server.ThreadedMotoServer(ip_address="127.0.0.1", port=0, verbose=False)
    running.start()
    with pytest.MonkeyPatch.context() as patch:
        for name, value in told.items():
            patch.setenv(name, value)
        host, port = running.get_host_and_port()
        endpoint = f"http://{host}:{port}"
        S3FileSystem(endpoint_override=endpoint, region="us-east-1", allow_bucket_creation=True).create_dir(
            BUCKET
        )
        yield f"s3://{BUCKET}/{{}}?endpoint_override={endpoint}"
    running.stop()


def ledger_in(folder, address):
    """Return the path of a ledger to come whose waveforms go to a store."""
    folder.mkdir()
    (folder / "fleet.waveforms").write_text(address + "\n")
    return folder / "fleet.duckdb"


def log(ledger, number, source="a.csv"):
    capture = replace(small_capture(mean_a=5 + number / 100, seconds=0.1), source=source)
    entry = VisitEntry("214", odometer_km=10_000.0 + number)
    return log_visit(ledger, entry, capture, meter_reading(5.0), {"unit-new": "bench"}, author=ANYBODY)


def test_a_ledger_keeps_finds_checks_and_hands_out_its_waveforms_there(tmp_path, store):
    ledger = ledger_in(tmp_path / "a", store.format("north"))
    first, second = log(ledger, 1, source="A. Baker 1.csv"), log(ledger, 2)
    folder = waveform_folder(ledger)
    assert isinstance(folder, ObjectPath)
    hashes = sorted((first.capture_hash, second.capture_hash))
    assert [path.stem for path in sorted(folder.glob("*.parquet"))] == hashes
    assert load_waveform(ledger, first.capture_hash).source == "A. Baker 1.csv"
    assert check_ledger(ledger).waveforms == 2
    assert check_ledger(ledger).sound
    whole = backup(ledger, tmp_path / "copy.duckdb")
    assert whole.whole
    assert check_ledger(whole.path).waveforms == 2
    forget_names(ledger, ["A. Baker"], author=ANYBODY, reason="asked for", dry_run=False)
    assert "Baker" not in load_waveform(ledger, first.capture_hash).source

    orphan = store_waveform(ledger, small_capture(mean_a=6, seconds=0.1))
    assert not store_waveform(ledger, small_capture(mean_a=6, seconds=0.1)).written
    assert [f.code for f in check_ledger(ledger, clean=True).findings] == ["orphan"]  # young
    assert [f.code for f in check_ledger(ledger, clean=True, young_s=0).findings] == ["orphan-removed"]
    assert not orphan.path.exists()

    victim = folder / f"{hashes[0]}.parquet"
    content = victim.read_bytes()
    victim.write_bytes(content[:-40] + b"\x00" + content[-39:])
    (folder / f"{hashes[1]}.parquet").unlink()
    assert sorted(f.code for f in check_ledger(ledger).findings) == ["waveform-damaged", "waveform-missing"]


def test_one_prefix_is_one_ledgers(tmp_path, store):
    mine, other = (ledger_in(tmp_path / name, store.format("shared")) for name in ("mine", "other"))
    log(mine, 1)
    with pytest.raises(LedgerError, match="holds the waveforms of one"):
        log(other, 1)
    assert (waveform_folder(mine) / MARK).read_text().strip()


def test_workers_measure_what_lies_there_and_put_there_what_they_measure(tmp_path, store):
    chains = chains_in(tmp_path / "captures", pumps=2, captures=1)
    alone = {row.name: row for chain in chains for row in measure_chain(chain, Work(tmp_path / "waveforms"))}
    folder = object_path(store.format("bulk"))
    there = run_chains(chains, Work(folder), where=Where(processes=1), waiting=tmp_path / "waiting")
    assert rows_of(there.rows) == rows_of(alone)
    kept = [row.stored.path for row in there.rows.values()]
    assert all(isinstance(path, ObjectPath) and place(str(path)) == path for path in kept)
    again = run_chains(chains, Work(folder), where=Where(processes=1), waiting=tmp_path / "waiting")
    assert rows_of(again.rows) == rows_of(alone)
    measured = measure_chain(Chain("p", tuple(Link(path.stem, path, stored=True) for path in kept)))
    assert [row.capture_hash for row in measured if row.reading] == [path.stem for path in kept]


def test_a_store_that_is_away_or_has_no_such_bucket_is_one_sentence(tmp_path, store):
    ledger = ledger_in(tmp_path / "a", store.format("north").replace(BUCKET, "nobodys"))
    with pytest.raises(LedgerError, match=r"can't be used|no bucket"):
        log(ledger, 1)
    with pytest.raises(LedgerError, match="no bucket"):
        check_ledger(ledger)
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        away = object_path(f"s3://pumps/north?endpoint_override=http://127.0.0.1:{free.getsockname()[1]}")
        with pytest.raises(LedgerError, match=r"can't be used \(.*\): look at the network"):
            read_waveform(away / "x.parquet")


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("s3://", "needs a bucket"),
        ("s3://pumps", "needs a prefix"),
        ("s3://pumps/../x", "needs a prefix"),
        ("s3://pumps/a b", "plain letters"),
        ("s3://key:secret@pumps/north", "must hold no keys"),
        ("s3://pumps/north?access_key=k", "only endpoint_override and region"),
        ("s3://pumps/north?endpoint_override=store.example", "not https"),
        ("s3://pumps/north?endpoint_override=http://store.example", "without TLS"),
        ("s3://pumps/north?endpoint_override=https://k@store.example", "not https"),
        ("s3://pumps/north?region", "can't be read"),
        ("s3://[", "can't be read"),
    ],
)
def test_an_address_of_a_store_is_looked_at(address, why):
    with pytest.raises(LedgerError, match=why) as refused:
        object_path(address)
    assert "secret" not in str(refused.value)
