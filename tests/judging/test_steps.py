"""Every step list can be finished by what a fleet folder alone brings: visits, checks, rows of work done."""

from contextlib import redirect_stdout
from io import StringIO

import pytest

from analytics.judging.rules import RULE_BY_ID, RULES
from tests.judging.situation_runs import rank_situations
from tests.judging.situations import SITUATIONS
from tests.judging.test_situations import as_rows

# What each step wants recorded; a repeat is the same reading once more.
RECORDS = {
    "strainer": {"strainer": "good"}, "hose": {"hose": "good"}, "regulator": {"regulator": "good"},
    "filter": {"filter_state": "good"}, "connector": {"connector": "good"}, "fuel": {"fuel": "E10"},
    "level": {"fuel_level_pct": 60}, "pressure": {"fuel_pressure_kpa": 380},
    "delivery": {"delivery_l_min": 1.2}, "hold": {"pressure_hold_kpa": 360},
    "circuit": {"supply_v": 13.6, "supply_v_at": "pump", "drop_supply_v": 0.2, "drop_ground_v": 0.04},
    "loaded volts": {"supply_v": 12.3, "supply_v_at": "pump", "connector": "good"},
    "again": {}, "repeat": {"zero_checked": "yes"}, "bleed": {"zero_checked": "yes"},
}  # fmt: skip
# These want a reading without the doubt or the fault, which ends the finding itself.
ENDS_IT = {"clamp", "command", "mend circuit", "mend filter", "mend flow"}
REFUELLED = ("level",)  # likewise
HAVE = {situation.finding for situation in SITUATIONS}
FINISHABLE = [
    rule
    for rule in RULES
    if rule.id in HAVE and rule.steps not in ((), REFUELLED) and not ENDS_IT.intersection(rule.steps)
]


@pytest.fixture(scope="module")
def ranked(tmp_path_factory):
    out = StringIO()

    class Captured:
        def readouterr(self):
            text = out.getvalue()
            out.seek(0)
            out.truncate()
            return type("Out", (), {"out": text})

    rows = []
    for rule in FINISHABLE:
        situation = next(s for s in SITUATIONS if s.finding == rule.id)
        row = as_rows(situation, rule.id)
        finished = dict(row["visits"][-1])
        for step in rule.steps:
            finished |= RECORDS[step]
        if rule.id in ("does-not-deliver", "delivers-little"):
            finished |= {"delivery_l_min": situation.visits[-1].get("delivery_l_min")}
        elif rule.family == "flow" and "delivery" in rule.steps:
            # Measured, and not so good that the pump is cleared by it.
            finished |= {"delivery_l_min": 1.2, "fuel_pressure_kpa": 330}
        finished["reason"] = "follow-up" if finished["reason"] == "complaint" else finished["reason"]
        row["visits"] = [*row["visits"], finished]
        rows.append(row)
    with redirect_stdout(out):
        return rank_situations(tmp_path_factory.mktemp("steps"), rows, Captured())


@pytest.mark.parametrize("rule", FINISHABLE, ids=lambda rule: rule.id)
def test_a_folder_alone_finishes_the_steps(ranked, rule):
    row = ranked[rule.id]
    if rule.id == "complaint-open":  # with everything recorded good it is closed
        assert row["finding"] == "healthy"
        return
    alike = {r.id for r in RULES if rule.family and r.family == rule.family} | {rule.id}
    assert row["finding"] in alike
    assert row["finding_action"] == RULE_BY_ID[row["finding"]].end, row["next_test"]
