"""Every situation of the table, and its twin, through `load` and `rank`, in one ledger."""

import inspect
import re
from dataclasses import replace

import pytest

from analytics.judging import finding
from analytics.judging.action import ACTIONS
from analytics.judging.rule import BOOK
from analytics.judging.rules import RULE_BY_ID, RULES
from analytics.judging.steps import MOST_WORDS
from analytics.judging.wording import worded
from tests.judging.more_situations import MORE
from tests.judging.situation_runs import rank_situations
from tests.judging.situations import GOOD, PUMP, Situation
from tests.judging.situations import SITUATIONS as FIRST

# Reached by what only a capture shows, or by other tests: see test_verdict.py and test_type_level.py.
BY_CAPTURE = {
    "clipped", "frozen", "supply-switched", "ripple-unsure", "segment-odd", "irregular", "no-reading",
    "average-unlike-type", "no-commutation", "segments-contradicted", "speed-unlike-last",
}  # fmt: skip
SITUATIONS = (*FIRST, *MORE)
_OF_THE_UNIT = ("kind", "services", "breakdowns", "history")


def twin_of(situation: Situation) -> Situation:
    changes = {k: v for k, v in situation.twin.items() if k not in _OF_THE_UNIT}
    of_unit = {k: v for k, v in situation.twin.items() if k in _OF_THE_UNIT}
    if "kind" in of_unit:
        of_unit["kind"] = situation.kind | of_unit["kind"]
    last = situation.visits[-1] | changes
    return replace(situation, visits=(*situation.visits[:-1], last), **of_unit)


def as_rows(situation: Situation, name: str) -> dict:
    first = situation.visits[0]
    # A pump's past is at the command it has now, and as it always was where the table says so.
    usual = {"duty_pct": 60, "mean_a": 2.8} if "duty_pct" in first else {}
    usual |= {"commanded": "high"} if situation.kind.get("supply") == "two-speed" else {}
    usual |= {"ripple_pct": 18} if "always" in situation.name else {}
    visits = [GOOD | usual] * situation.history + [GOOD | visit for visit in situation.visits]
    visits = [
        {k: v.format(unit=name) if isinstance(v, str) else v for k, v in visit.items()} for visit in visits
    ]
    return {
        "name": name,
        "pump_type": PUMP | situation.kind,
        "visits": visits,
        "services": situation.services,
        "breakdowns": situation.breakdowns,
        "distance_on_pump_km": situation.run_km,
    }


@pytest.fixture(scope="module")
def ranked(tmp_path_factory):
    from contextlib import redirect_stdout
    from io import StringIO

    out = StringIO()

    class Captured:
        def readouterr(self):
            text = out.getvalue()
            out.seek(0)
            out.truncate()
            return type("Out", (), {"out": text})

    rows = [as_rows(s, s.name) for s in SITUATIONS]
    rows += [as_rows(twin_of(s), f"{s.name}, twin") for s in SITUATIONS]
    with redirect_stdout(out):
        return rank_situations(tmp_path_factory.mktemp("situations"), rows, Captured())


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda s: s.name)
def test_what_a_master_technician_would_say(ranked, situation):
    row = ranked[situation.name]
    assert (row["finding"], row["finding_action"]) == (situation.finding, situation.action), row["next_test"]
    assert re.search(situation.says, f"{row['finding_text']} {row['next_test']}", re.IGNORECASE)


@pytest.mark.parametrize("situation", SITUATIONS, ids=lambda s: s.name)
def test_one_figure_changes_the_answer(ranked, situation):
    row, twin = ranked[situation.name], ranked[f"{situation.name}, twin"]
    assert twin["finding"] == situation.twin_finding, twin["finding_text"]
    assert (twin["finding"], twin["finding_action"]) != (row["finding"], row["finding_action"])
    if situation.twin_action:
        assert twin["finding_action"] == situation.twin_action, twin["next_test"]


def test_every_rule_has_a_situation():
    assert {r.id for r in RULES} - BY_CAPTURE == {s.finding for s in SITUATIONS} - {"broke-down"}


def test_every_sentence_of_a_rules_own_is_of_a_step_or_case_that_asks_for_it():
    cases = set(re.findall(r'"\{step\}, ([a-z ]+)"', inspect.getsource(finding)))
    assert len(cases) >= 6
    at_the_end = (finding.UNTOLD, finding.BUILT_IN)
    idle = [
        (rule.id, key)
        for rule in RULES
        for key in rule.says
        for step, _, case in [key.partition(", ")]
        if key not in at_the_end and (step not in rule.steps or (case and case not in cases))
    ]
    assert idle == []


def test_the_next_test_is_one_short_sentence_or_two(ranked):
    for name, row in ranked.items():
        assert 1 <= len(row["next_test"].split()) <= MOST_WORDS, (name, row["next_test"])
        assert row["finding_action"] in ACTIONS
        assert "{" not in row["finding_text"] + row["next_test"]


def test_a_finding_is_worded_from_its_rule_and_values_alone(ranked):
    told = {name: row for name, row in ranked.items() if row["finding"] in RULE_BY_ID}
    for name, row in told.items():
        assert worded(RULE_BY_ID[row["finding"]].text, row["finding_values"]) == row["finding_text"], name
    assert len([row for row in told.values() if row["finding_values"]]) > 10


def test_capturing_again_is_not_the_answer_to_everything(ranked):
    again = [name for name, row in ranked.items() if row["finding_action"] == "repeat capture"]
    assert len(again) <= 0.2 * len(ranked)


FAILED = {
    "nothing, proven twice", "seized", "broke down", "far above, brushless, twin", "stalled on prime",
    "seized at low volts", "broke down, good since, twin", "hardly any volts, twice, twin",
}  # fmt: skip


def test_a_pump_proven_not_to_deliver_is_changed_whatever_its_risk(ranked):
    proven = [r for r in ranked.values() if (r["finding"], r["finding_action"]) == ("does-not-deliver", BOOK)]
    assert proven
    assert {(r["action"], r["job"]) for r in proven} == {(BOOK, "change")}
    others = [r for r in ranked.values() if r["finding"] == "does-not-deliver" and r not in proven]
    assert not any(r["because"] == proven[0]["because"] for r in others)


def test_failed_pumps_stand_first_without_a_probability(ranked):
    rows = list(ranked.values())
    failed = [row for row in rows if row["status"] == "failed"]
    assert {row["unit"] for row in failed} == FAILED
    assert rows[: len(failed)] == failed
    for row in failed:
        told = ("risk", "risk_hydraulic", "p_damage", "p_beside_pump", "distance_left_text", "due_by")
        assert {row[name] for name in told} == {None}
        assert row["down_since"]
        assert row["action"] == "book replacement"
    assert all(row["risk"] is not None for row in rows[len(failed) :])
