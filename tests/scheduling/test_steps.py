"""What a job asks for, by what carried it."""

from types import SimpleNamespace

import pytest

from analytics.judging.made import BIT
from analytics.risk.deciding import DROPS, LOOK, NO_DELIVERY_RULE
from analytics.scheduling.steps import AFTER, BEARS, CHANGE, FILTER, FUEL, OPEN, REPORT, TANK, steps
from ingest.wording.language import SPANISH, speaking


@pytest.mark.parametrize("filter_kind", ["inline", "module"])
def test_what_starves_a_sound_pump_is_looked_at_before_one_that_does_not_deliver_is_changed(filter_kind):
    row = SimpleNamespace(
        job="check and change", asked_first=DROPS, finding=NO_DELIVERY_RULE,
        finding_action="book replacement", p_beside=0.0, filter=filter_kind, cause_found=False, made=0,
    )  # fmt: skip
    told = steps(row)
    assert told.index(FUEL) < told.index(OPEN) < told.index(CHANGE)
    assert (FILTER in told) == (filter_kind == "inline")
    row.finding = "ripple-very-high"
    assert BEARS in steps(row)
    assert OPEN not in steps(row)


def test_what_this_visit_looked_at_is_not_asked_again_and_what_was_found_goes_first():
    done = ("zero", "circuit", "pressure", "filter", "strainer", "connector")
    row = SimpleNamespace(
        job="check and change", asked_first=LOOK, finding="circuit-drop", finding_action="check circuit",
        because="cost", p_beside=0.3, filter="inline", cause_found=True, step_text="Mend the ground.",
        made=sum(BIT[name] for name in done),
    )  # fmt: skip
    left = "With the tank open: in-tank hose and regulator looked at, for heat too."
    assert steps(row) == ["Mend the ground.", left, AFTER, CHANGE, TANK, REPORT]
    with speaking(SPANISH):
        assert "Con el tanque abierto: mire manguera interior y regulador, también por calor." in steps(row)
    row.made, row.cause_found = sum(BIT.values()), False
    assert steps(row) == [AFTER, CHANGE, TANK, REPORT]
