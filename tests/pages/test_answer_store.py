"""Long answers: renewed with the ledger, shown at once where they take time, and kept for the next start."""

import subprocess
import sys
import threading
import time
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path
from subprocess import CalledProcessError
from unittest.mock import Mock

import pandas as pd
import pytest

from analytics.learning.fitting import store_fit, stored_fit
from analytics.risk.ranking import rank_and_groups
from analytics.scheduling.inputs import inputs_of, read_inputs
from analytics.scheduling.planning import make_plan
from dashboard.data import answer_store, answers
from dashboard.data.answer_store import RENEW_S, AnswerStore
from dashboard.data.answers import Ranking
from ingest.errors import LedgerError
from ingest.ledger.settings import set_setting
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger, small_capture
from tests.pages.page_runs import in_a_process
from tests.pages.test_small_fleets import FLEETS, load


@pytest.fixture
def made(monkeypatch):
    """Answers that only count how often they were made; `go` holds the background back."""
    counts, go = [], threading.Event()
    go.set()

    def work_out(name, ledger, _shared=None):
        go.wait(10)
        counts.append(name)
        pumps = pd.DataFrame({"pump_id": [1], "currents_a": [[5.0, 5.1]], "made": len(counts)})
        groups = pd.DataFrame({"name": ["L1"], "ratio": [float("nan")], "flagged": [True]})
        return (len(counts),), Ranking(pumps, groups)

    monkeypatch.setattr(answers, "work_out", work_out)
    monkeypatch.setattr(answer_store, "apart", work_out)
    return counts, go


def waited(store, name):
    return store.jobs[name].result(10)


def test_a_small_fleet_is_worked_out_once_for_each_state(made, tmp_path):
    counts, _ = made
    store = AnswerStore(tmp_path / "fleet.duckdb")
    assert store.at_once("ranking", (1,), large=False) is None
    assert store.get("ranking", (1,), large=False).stamp == (1,)
    store.get("ranking", (1,), large=False)
    assert counts == ["ranking"]
    assert store.get("ranking", (2,), large=False).stamp == (2,)
    assert store.get("plan", (3,), large=False).stamp == (3,)
    assert not store.file.exists()


class Line:
    """A lock that tells how many have come to it."""

    def __init__(self):
        self.lock, self.came = threading.Lock(), 0
        self.release = self.lock.release

    def acquire(self, timeout):
        self.came += 1
        return self.lock.acquire(timeout=timeout)


def until(happened):
    end = time.monotonic() + 10
    while not happened() and time.monotonic() < end:
        time.sleep(0.001)


def test_who_wait_while_others_write_share_one_answer_or_see_the_last(made, monkeypatch, tmp_path):
    counts, go = made
    line, seen = Line(), []
    store = AnswerStore(tmp_path / "fleet.duckdb", _here_turn=line)

    def asking(n, name="ranking"):  # each for a state of its own
        job = lambda: seen.append(store.get(name, (99, n), large=False).stamp)  # noqa: E731
        threading.Thread(target=job, daemon=True).start()

    go.clear()
    monkeypatch.setattr(answer_store, "WAIT_S", 10.0)
    asking(0)
    until(lambda: store._begun_here)
    for n in range(1, 6):
        asking(n)
    until(lambda: line.came == 6)
    assert seen == []  # there is none yet, so all wait
    go.set()
    until(lambda: len(seen) == 6)
    assert seen == [(1,)] + 5 * [(2,)]  # begun before the others asked, and once since
    go.clear()
    begun = store._begun_here["ranking"]
    asking(6)
    until(lambda: store._begun_here["ranking"] != begun)
    monkeypatch.setattr(answer_store, "WAIT_S", 0.01)
    assert store.get("ranking", (99, 7), large=False).stamp == (2,)  # the last one, the next being made
    asking(8, "plan")  # none yet: it waits
    until(lambda: line.came == 9)
    assert len(seen) == 6
    go.set()
    until(lambda: len(seen) == 8)
    waited(store, "ranking")
    assert sorted(counts) == ["plan"] + 4 * ["ranking"]


def test_a_large_fleet_shows_the_last_answer_while_the_next_is_made(made, tmp_path):
    counts, go = made
    store = AnswerStore(tmp_path / "fleet.duckdb")
    assert store.get("plan", (1,), large=True).stamp == (1,)
    go.clear()
    assert store.get("plan", (2,), large=True).stamp == (1,)
    assert store.get("plan", (2,), large=True).stamp == (1,)  # no second job
    go.set()
    assert waited(store, "plan").stamp == (2,)
    assert store.at_once("plan", (2,), large=True).stamp == (2,)
    assert counts == ["plan", "plan"]


def test_the_ranking_of_a_large_fleet_outlives_the_server(made, tmp_path):
    counts, _ = made
    AnswerStore(tmp_path / "fleet.duckdb").get("ranking", (1,), large=True)
    again = AnswerStore(tmp_path / "fleet.duckdb").at_once("ranking", (1,), large=True)
    assert again.stamp == (1,)
    assert list(again.value.pumps["currents_a"].iloc[0]) == [5.0, 5.1]
    assert again.value.groups["flagged"].tolist() == [True]
    assert counts == ["ranking"]


def test_a_kept_file_cut_short_is_no_answer(made, tmp_path):
    store = AnswerStore(tmp_path / "fleet.duckdb")
    store.file.write_bytes(b"PAR1 and no more")
    assert store.at_once("ranking", (1,), large=True) is None


def test_a_failure_in_the_background_is_told_to_who_waits(monkeypatch, tmp_path):
    def refuse(name, ledger):
        raise LedgerError("no-ledger", "There is no ledger.")

    monkeypatch.setattr(answer_store, "apart", refuse)
    with pytest.raises(LedgerError, match="There is no ledger"):
        AnswerStore(tmp_path / "fleet.duckdb").get("costs", (1,), large=True)


def test_a_failed_job_is_begun_again_only_when_the_ledger_has_changed(made, monkeypatch, tmp_path):
    store = AnswerStore(tmp_path / "fleet.duckdb")
    store.get("plan", (1,), large=True)
    tried = []

    def fail(name, ledger):
        tried.append(name)
        raise LedgerError("no-memory", "Not enough memory.")

    monkeypatch.setattr(answer_store, "apart", fail)
    store.get("plan", (2,), large=True)
    with pytest.raises(LedgerError):
        waited(store, "plan")
    for _ in range(3):
        shown = store.get("plan", (2,), large=True)
        assert shown.stamp == (1,)
        assert shown.failed
    assert len(tried) == 1
    assert not store.get("plan", (1,), large=True).failed  # what it shows is the ledger as it stands
    store.get("plan", (3,), large=True)
    with pytest.raises(LedgerError):
        waited(store, "plan")
    assert len(tried) == 2
    monkeypatch.setattr(answer_store, "RETRY_S", -1.0)  # and after some minutes, should it have passed
    store.get("plan", (3,), large=True)
    with pytest.raises(LedgerError):
        waited(store, "plan")
    assert len(tried) == 3


def test_answers_are_worked_out_in_a_process_of_its_own_that_waits_for_the_next(tmp_path, monkeypatch):
    left: dict = {}
    monkeypatch.setattr(answer_store, "_left", left)
    ledger = Path(load(tmp_path / "folder", FLEETS["three pumps"]))
    shown, ranking = in_a_process("ranking", ledger)
    assert shown == answers.stamp(ledger)  # a fit was stored first, and nothing since
    assert ranking.pumps["risk"].is_monotonic_decreasing
    assert len(ranking.pumps) == 3
    assert set(ranking.groups) >= {"kind", "name", "flagged"}
    [child] = left.values()
    assert in_a_process("ahead", ledger)[1].pump_id.tolist() == sorted(ranking.pumps["pump_id"])
    assert list(left.values()) == [child]  # and not another
    ledger.rename(tmp_path / "elsewhere.duckdb")
    with pytest.raises(LedgerError, match="no ledger"):
        in_a_process("ahead", ledger)
    assert list(left.values()) == [child]
    child.stdin.close()
    assert child.wait(10) == 0


def test_one_that_has_just_ended_for_want_of_questions_is_followed_by_another(tmp_path, monkeypatch):
    def saying(words):
        command = [sys.executable, "-c", f"import pickle, sys; {words}"]
        return subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)

    ended = saying("sys.exit(3)")
    ended.wait(10)
    fresh = saying("sys.stdin.readline(); pickle.dump(((1,), 'told'), sys.stdout.buffer)")
    left = {(str((tmp_path / "l").resolve()), False): ended}
    monkeypatch.setattr(answer_store, "_left", left)
    monkeypatch.setattr(answer_store, "_begin", lambda ledger: fresh)
    assert in_a_process("plan", tmp_path / "l") == ((1,), "told")
    assert list(left.values()) == [fresh]
    left.clear()
    monkeypatch.setattr(answer_store, "_begin", lambda ledger: ended)
    with pytest.raises(CalledProcessError, match="exit status 3"):  # and none goes on without an end
        in_a_process("plan", tmp_path / "l")
    for process in (ended, fresh):
        with process:
            process.wait(10)


def test_what_takes_long_is_made_behind_the_page_also_for_a_small_fleet(made, tmp_path):
    counts, go = made
    store = AnswerStore(tmp_path / "fleet.duckdb")
    go.clear()
    assert store.soon("record", (1,)) is None
    assert store.soon("record", (1,)) is None  # no second job
    go.set()
    assert waited(store, "record").stamp == (1,)
    assert store.soon("record", (1,)).stamp == (1,)
    assert store.soon("record", (2,)).stamp == (1,)  # no older than an hour
    assert counts == ["record"]
    store.newest["record"] = replace(
        store.newest["record"], made_at=datetime.now() - timedelta(seconds=RENEW_S + 1)
    )
    go.clear()
    assert store.soon("record", (2,)).stamp == (1,)  # the last one meanwhile
    go.set()
    assert waited(store, "record").stamp == (2,)
    assert counts == ["record", "record"]


def test_no_page_of_a_small_fleet_waits_for_the_record_of_forecasts(made, monkeypatch, tmp_path):
    held, store = threading.Event(), AnswerStore(tmp_path / "fleet.duckdb")

    def later(name, ledger):
        held.wait(10)
        return answers.work_out(name, ledger)

    monkeypatch.setattr(answer_store, "apart", later)
    assert store.soon("record", (1,)) is None
    page = threading.Thread(target=store.get, args=("ranking", (1,)), kwargs={"large": False}, daemon=True)
    page.start()
    page.join(5)
    assert set(store.newest) == {"ranking"}
    held.set()
    waited(store, "record")


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("shared") / "l.duckdb", fitted=True)


def test_list_plan_and_distance_ahead_of_a_fleet_decided_about_once_are_those_made_from_nothing(fleet):
    shared = answers.Shared()
    shown, ranking = answers.work_out("ranking", fleet, shared)
    rows, groups = rank_and_groups(fleet)
    pd.testing.assert_frame_equal(ranking.pumps[rows.columns], rows)
    pd.testing.assert_frame_equal(ranking.groups, groups)
    again, decided = shared.decided(fleet)
    assert again == shown == answers.stamp(fleet)  # that the list was kept as told alters no answer
    inputs, anew = inputs_of(fleet, decided), read_inputs(fleet, None)
    for name in ("pumps", "vehicles", "types", "stock", "bays"):
        pd.testing.assert_frame_equal(getattr(inputs, name), getattr(anew, name))
    assert (inputs.forecast.survival == anew.forecast.survival).all()
    for name in ("as_of", "today", "settings", "revision", "steps", "failures"):
        assert getattr(inputs, name) == getattr(anew, name), name
    assert answers.work_out("plan", fleet, shared)[1].notes == make_plan(anew).notes
    ahead = answers.work_out("ahead", fleet, shared)[1]
    assert (ahead.pump_id == anew.forecast.pump_id).all()
    assert (ahead.survival[:, 0] == 1).all()


def test_a_fleet_is_decided_about_anew_with_each_change_of_its_ledger_and_each_day(fleet, monkeypatch):
    made = []

    def decide_ledger(ledger):
        made.append(answers.stamp(ledger))
        return Mock(learned=len(made) == 1)

    monkeypatch.setattr("analytics.risk.ranking.decide_ledger", decide_ledger)
    shared = answers.Shared()
    shared.decided(fleet)
    assert len(made) == 2  # the first stored a fit, which it does not show
    shared.decided(fleet)
    assert len(made) == 2
    for change in (log_a_visit, change_a_setting, store_a_fit):
        change(fleet)
        assert not shared.is_of(answers.stamp(fleet)), change.__name__
        shown, _ = shared.decided(fleet)
        assert shown == made[-1] == answers.stamp(fleet), change.__name__
    assert len(made) == 5
    tomorrow = date.today() + timedelta(days=1)
    monkeypatch.setattr(answers, "date", Mock(today=lambda: tomorrow))
    shared.decided(fleet)
    assert len(made) == 6


def log_a_visit(ledger):
    entry = VisitEntry("101", visited_on=date(2026, 1, 5), odometer_km=90_000.0)
    log_visit(ledger, entry, small_capture(), author=ANYBODY, most_questions=0)


def change_a_setting(ledger):
    set_setting(ledger, "extra_stop_days", 9, author=ANYBODY, reason="test")


def store_a_fit(ledger):
    store_fit(ledger, stored_fit(ledger))
