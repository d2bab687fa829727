"""What is concluded of pumps and plans is a code and values, and one change of words reaches every reader."""

import ast
import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

import analytics
from analytics import wording
from analytics.risk.ranking import rank
from analytics.risk.reasons import horizons, reason_values, with_next_step
from analytics.scheduling.ical import calendar
from analytics.scheduling.planning import plan
from analytics.scheduling.work_list import work_list_html
from analytics.wording import Remark, reason_template, reasons_in_words, remark, say
from dashboard.commands import plan as plan_command
from dashboard.commands import rank as rank_command
from ingest.units import KM_PER_MILE
from ingest.wording.language import SPANISH, speaking
from tests.ledger_fixture import build_ledger

TABLES = (
    wording.SENTENCES, wording.HEADS, wording.FIRST_PART, wording.WEAR, wording.DAMAGES, wording.ONSETS,
    wording.AFTER_PARTS, wording.BESIDE,
)  # fmt: skip


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("words") / "fleet.duckdb", fitted=True)


def written_codes() -> set[str]:
    """Every text that stands in a module of analytics but in the catalogue itself."""
    root = Path(analytics.__file__).parent
    nodes = [
        node
        for path in root.rglob("*.py")
        if path.name != "wording.py" or path.parent != root
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    ]
    texts = {node.value for node in nodes if isinstance(node, ast.Constant) and isinstance(node.value, str)}
    return {word for text in texts for word in text.strip().split(" ")} | {text.lstrip(":") for text in texts}


def test_every_code_has_words_and_all_words_have_a_code_that_is_used():
    known = {code for table in TABLES for code in table}
    assert sum(len(table) for table in TABLES) == len(known), "one code, one sentence"
    by_name = {"booked", "booked-unexplained"} | set(wording.DAMAGES)  # the fields of a state, and `booked`
    assert known - written_codes() - by_name == set()
    root = Path(analytics.__file__).parent
    asked = {
        node.args[0].value
        for path in root.rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("say", "remark") and node.args
        if isinstance(node.args[0], ast.Constant)
    }
    assert len(asked) > 30
    assert asked - set(wording.SENTENCES) == set()


def test_one_reason_is_said_again_from_its_codes_and_values(ledger):
    rows = rank(ledger)
    for values, told in zip(reason_values(rows), rank_command.records(rows), strict=True):
        assert json.loads(json.dumps(told["reason_values"])) == values
        clauses = [code for code in told["reason_codes"] if code not in ("next", "pays")]
        said = reason_template(" ".join(clauses)).format(**told["reason_values"])
        if "next" in told["reason_codes"]:
            action = told["action_text"][0].lower() + told["action_text"][1:]
            said = say("next", reason=said, action=action)
        if "pays" in told["reason_codes"]:
            said = say("pays", reason=said, **told["reason_values"])
        assert said == told["reason"]
        if told["action_code"] in wording.SENTENCES:
            assert say(told["action_code"], **told["action_values"]) == told["action_text"]
        else:
            assert told["action_code"] == "next-test"


def test_a_change_at_a_low_risk_says_why_it_pays(ledger):
    looked = {"at": "at-next-stop", "over": "", "share_pct": 59}
    row = rank(ledger).iloc[:1].assign(
        reason_codes="risk fleet", risk_pct=8, fleet_pct=4, status="running", not_working=False,
        because="cost", risk_in_a_year=0.324, failure=2400.0, planned=650.0, saving=65.3, action="check",
        action_text="Check it.", action_values=[looked],
    )  # fmt: skip
    said = with_next_step(row, "USD").iloc[0]
    assert said["reason_codes"] == "risk fleet next pays"
    assert said["reason"].endswith(
        "Next: check it. Why at so low a risk: left in, 32 % of such pumps fail within a year, which costs "
        "2,400 USD each; a change costs 650 and is made only where the look before it still calls for it. "
        "Leaving this one for a later stop is reckoned to cost 65 more."
    )
    for other in ({"risk_pct": 9}, {"because": "risk ceiling"}, {"action_values": [{}]}):
        assert with_next_step(row.assign(**other), "USD").iloc[0]["pays"] is None


def test_a_changed_clause_moves_rank_and_all_that_a_plan_writes(ledger, monkeypatch):
    monkeypatch.setitem(wording.HEADS, "fleet", " (all of them {fleet_pct} %)")
    monkeypatch.setitem(wording.HEADS, "fleet-under-1", " (all of them next to nothing)")
    for sentence in ("no-stock", "no-bays"):
        monkeypatch.setitem(wording.SENTENCES, sentence, f"Changed <{sentence}>.")
    assert rank(ledger)["reason"].str.contains("all of them").all()
    made = plan(ledger)
    made = replace(made, notes=(*made.notes, remark("no-stock"), remark("no-bays")))
    assert "Note: Changed <no-stock>." in plan_command.as_text(made, {})
    assert "Changed &lt;no-bays&gt;." in work_list_html(made)
    assert made.jobs["reason"].str.contains("all of them").all()
    if len(made.jobs):
        assert "all of them" in calendar(made).decode().replace("\r\n ", "")


def test_a_remark_keeps_plain_values_and_is_worded_when_read():
    past = remark("day-past", names="12")
    assert past == Remark("day-past", {"names": "12"})
    assert past.text == "The day booked for unit 12 is past: mark it done or move it."
    change = remark("change-finding-stays", at="at-now", over="")
    assert (
        change.text
        == "Change it now, while it is in the bay: the finding stays and nothing else explains it."
    )
    with speaking(SPANISH):
        assert wording.booked("rust").text == "Programado por una persona: rust."
        assert wording.booked(None).text == "Programado por una persona, sin motivo."


def test_a_horizon_nobody_typed_has_no_false_digits():
    """The usual 5,000 mi are told in kilometres to three digits; what was typed in kilometres as typed."""
    usual_mi, typed_km = 5000 * KM_PER_MILE, 12_345.0
    assert horizons(np.array([usual_mi, typed_km]), "km").tolist() == ["8,050 km", "12,345 km"]
    assert horizons(np.array([usual_mi]), "mi").tolist() == ["5,000 mi"]


def test_clauses_make_one_sentence():
    said = reasons_in_words(
        *coded("risk fleet points drag:started wear-usual sudden alike-one few-failures age-unknown")
    )
    assert said.tolist() == [
        "38 % chance of failing within 5,000 mi (fleet 7 %): 25 points from drag that has probably started, "
        "8 from usual wear, 5 unpredictable; of 1,200 past readings rated like this, 1 was followed by a "
        "failure. This fleet has seen only 3 failures yet, so failure levels are trade experience. Nobody "
        "knows when this pump was fitted."
    ]


def coded(codes):
    values = {
        "risk_pct": 38, "horizon": "5,000 mi", "fleet_pct": 7, "points_drag": 25, "points_wear": 8,
        "points_sudden": 5, "n_alike": 1200, "k_failed": 1, "fleet_failures": 3,
    }  # fmt: skip
    return np.array([codes], object), {name: np.array([value]) for name, value in values.items()}


def test_no_chance_is_told_as_nothing_or_all():
    assert [wording.whole_percent(share) for share in (0.1, 20, 99.4, 99.9, 100)] == [
        "under 1", "20", "99", "over 99", "over 99",
    ]  # fmt: skip
    said = remark("change-after-drops", at="at-now", over="", share_pct=100)
    assert said.text.endswith("if they bear it out (over 99 % end in a change).")
    assert reason_template("risk-over-99 fleet sudden").startswith("Over 99 % chance of failing within")
    with speaking(SPANISH):
        assert wording.whole_percent(100) == "más de 99"
