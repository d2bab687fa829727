"""What a job asks for, by what carried it."""

from types import SimpleNamespace

import pytest

from analytics.risk.deciding import DROPS, NO_DELIVERY_RULE
from analytics.scheduling.steps import BEARS, CHANGE, FILTER, FUEL, OPEN, steps


@pytest.mark.parametrize("filter_kind", ["inline", "module"])
def test_what_starves_a_sound_pump_is_looked_at_before_one_that_does_not_deliver_is_changed(filter_kind):
    row = SimpleNamespace(
        job="check and change", asked_first=DROPS, finding=NO_DELIVERY_RULE,
        finding_action="book replacement", p_beside=0.0, filter=filter_kind,
    )  # fmt: skip
    told = steps(row)
    assert told.index(FUEL) < told.index(OPEN) < told.index(CHANGE)
    assert (FILTER in told) == (filter_kind == "inline")
    row.finding = "ripple-very-high"
    assert BEARS in steps(row)
    assert OPEN not in steps(row)
