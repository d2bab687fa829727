"""A pump's captures in order: each knows the one before; the rows are the same whoever measures them."""

import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from ingest.chains.chain import CaptureResult, Chain, Link, Work, measure_chain, measure_link
from ingest.chains.running import Where, run_chains
from ingest.errors import EntryRefused, LedgerError
from ingest.known_pump import KnownPump
from ingest.ledger.visit_rows import meter_reading
from ingest.waiting import drop_waiting, keep_rows, waiting_folder, waiting_rows
from ingest.wording.measuring_notes import speed_far
from tests.chains.captures import chains_in, rows_of


@pytest.fixture(scope="module")
def twelve(tmp_path_factory):
    """A dozen captures of four pumps, and their rows as this process measures them."""
    root = tmp_path_factory.mktemp("twelve")
    chains = chains_in(root / "captures")
    work = Work(root / "alone")
    return chains, {row.name: row for chain in chains for row in measure_chain(chain, work)}


def test_a_chain_needs_no_ledger_and_tells_each_capture_the_speed_before(twelve):
    chains, rows = twelve
    assert all(row.reading.rpm and not row.refused for row in rows.values())
    asked = []

    def take(link):
        asked.append(link.known.previous_rpm)
        return measure_link(link, Work())

    measure_chain(chains[1], take=take)
    names = [link.name for link in chains[1].links]
    assert asked == [None, *(rows[name].reading.rpm for name in names[:2])]


def test_which_speed_the_next_capture_knows():
    """Of the same engine state, in the trend; what is known already, until it is measured anew."""
    idle, prime = KnownPump(state="idle", supply_v=13.5), KnownPump(state="prime", supply_v=11.8)
    path = Path("x.csv")
    links = (
        Link("told", None, idle, rpm=6000.0),
        Link("odd", None, idle, rpm=9000.0, in_trend=False),
        Link("other state", path, prime),
        Link("refused", path, idle, rpm=5900.0),
        Link("last", path, idle),
        Link("known", path, idle),
        Link("after", path, idle),
    )
    knew = {}

    def take(link):
        knew[link.name] = link.known.previous_rpm, link.known.previous_supply_v
        if link.name == "known":
            return CaptureResult(link.name, "hash")
        reading = None if link.name == "refused" else replace(meter_reading(5.0), rpm=5800.0)
        return CaptureResult(link.name, None, reading=reading)

    measure_chain(Chain("c", links), Work(known={"hash": 5700.0}), take=take)
    assert knew == {
        "other state": (None, None),
        "refused": (6000.0, 13.5),
        "last": (5900.0, 13.5),
        "known": (5800.0, 13.5),
        "after": (5700.0, 13.5),
    }


def test_a_speed_told_once_gives_way_to_two_captures_that_lead_to_another():
    """Told at double at first, it would leave every right speed since too far off to be told."""
    path, prime = Path("x.csv"), KnownPump(state="prime")
    links = (Link("double", None, prime, rpm=12_000.0), *(Link(name, path, prime) for name in "abcd"))
    leads_to, asked = iter((6000.0, 3000.0, 6100.0, None)), []

    def take(link):
        asked.append(link.known.previous_rpm)
        far, read = next(leads_to), meter_reading(5.0)
        reading = replace(read, rpm=6050.0) if far is None else replace(read, notes=(speed_far(far, 12e3),))
        return CaptureResult(link.name, None, reading=reading)

    measure_chain(Chain("c", links), take=take)
    assert asked == [12_000.0] * 4
    leads_to, asked = iter((6000.0, 6100.0, None, None)), []
    measure_chain(Chain("c", links), take=take)
    assert asked == [12_000.0, 12_000.0, None, 6050.0]


def test_the_same_bits_from_one_worker_and_from_two_whatever_threads_are_asked_for(
    twelve, tmp_path, monkeypatch
):
    chains, rows = twelve
    monkeypatch.setenv("OPENBLAS_NUM_THREADS", "4")
    for processes in (1, 2):
        seen = []
        run = run_chains(
            chains,
            Work(tmp_path / f"{processes}"),
            where=Where(processes),
            progress=lambda done, of, name, seen=seen: seen.append((done, of)),
        )
        assert rows_of(run.rows) == rows_of(rows)
        assert seen == [(k, 12) for k in range(1, 13)]


@pytest.mark.parametrize("number", [0, -3, 100_000])
def test_a_number_of_processes_that_cannot_be(number):
    with pytest.raises(EntryRefused, match="give a number from 1 to"):
        run_chains([], Work(), where=Where(number))


KILLED = """
import sys, time
from pathlib import Path
from ingest.chains.chain import Work, measure_link
from ingest.chains.running import run_chains
from tests.chains.captures import chains_in
root = Path(sys.argv[1])
work = Work(root / "waveforms")
def tell(done, of, name):
    print(done, flush=True)
    time.sleep(0.3)
run_chains(chains_in(root / "captures"), work, waiting=root / "waiting", progress=tell,
           take=lambda link: measure_link(link, work))
"""


def test_a_run_that_is_killed_goes_on_from_the_chains_it_finished(twelve, tmp_path):
    chains = [
        Chain(
            chain.name, tuple(replace(link, path=tmp_path / "captures" / link.name) for link in chain.links)
        )
        for chain in twelve[0]
    ]
    (tmp_path / "captures").symlink_to(twelve[0][0].links[0].path.parent)
    child = subprocess.Popen(
        [sys.executable, "-c", KILLED, str(tmp_path)],
        stdout=subprocess.PIPE,
        env=os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)},
    )
    for _ in range(4):  # the first chain and a capture of the second
        assert child.stdout.readline()
    child.send_signal(signal.SIGKILL)
    child.wait()
    child.stdout.close()
    asked = []

    def take(link):
        asked.append(link.name)
        return measure_link(link, work)

    work = Work(tmp_path / "waveforms")
    run = run_chains(chains, work, waiting=tmp_path / "waiting", take=take)
    assert rows_of(run.rows) == rows_of(twelve[1])
    assert 0 < len(asked) <= 9
    assert not any(link.name in asked for link in chains[0].links)
    run.published()
    assert not (tmp_path / "waiting").exists()


def test_only_what_follows_from_the_very_same_is_taken_from_what_waits(twelve, tmp_path):
    [chain] = chains_in(twelve[0][0].links[0].path.parent, pumps=1)
    waiting = waiting_folder(tmp_path / "l.duckdb")
    work = Work(tmp_path / "waveforms")

    def measured(chain):
        asked = []

        def take(link):
            asked.append(link.name)
            return measure_link(link, work)

        run_chains([chain], work, waiting=waiting, take=take)
        return len(asked)

    assert measured(chain) == 3
    assert measured(chain) == 0
    told = replace(chain.links[1], known=replace(chain.links[1].known, supply_v=12.0))
    assert measured(Chain(chain.name, (chain.links[0], told, chain.links[2]))) == 2
    assert measured(chain) == 2
    gone = twelve[1][chain.links[0].name].capture_hash
    (tmp_path / "waveforms" / f"{gone}.parquet").unlink()
    assert measured(chain) == 1
    for rows in ("{", '[{"made_of": 1}]', "[3]", '{"a": 1}'):
        next(waiting.iterdir()).write_text(rows)
        assert measured(chain) == 3


def test_a_folder_that_cannot_be_written_is_one_sentence(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(LedgerError, match=r"can.t be kept in .* run it again"):
        keep_rows(tmp_path / "file" / "measured", "chain", [{}])
    assert waiting_rows(tmp_path / "file" / "measured", "chain") == []


def test_what_a_killed_writing_left_goes_with_its_chain(tmp_path, monkeypatch):
    folder = tmp_path / "measured"
    keep_rows(folder, "chain", [{}])
    with monkeypatch.context() as killed:
        killed.setattr(Path, "replace", lambda *_: (_ for _ in ()).throw(KeyboardInterrupt))
        for name in ("chain", "other"):
            with pytest.raises(KeyboardInterrupt):
                keep_rows(folder, name, [{}])
    assert len(list(folder.glob("*.part"))) == 2
    drop_waiting(folder, ["chain"])
    assert [path.suffix for path in folder.iterdir()] == [".part"]  # the other's: it may be at work
    drop_waiting(folder, ["other"])
    assert not folder.exists()


def test_a_chain_that_another_run_published_meanwhile_need_not_wait(tmp_path, monkeypatch):
    folder, replace = tmp_path / "measured", Path.replace

    def published(part, path):
        drop_waiting(folder, ["chain"])
        return replace(part, path)

    monkeypatch.setattr(Path, "replace", published)
    keep_rows(folder, "chain", [{}])
    assert not folder.exists()
