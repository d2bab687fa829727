"""A cost element is one row: priced, shown, asked for and summed from the table."""

from __future__ import annotations

import pytest

from analytics.money import elements
from analytics.money.elements import ELEMENT, ELEMENTS, FAILURE, PLANNED, Element, checked, sums


def test_every_element_moves_some_sum():
    base = {e.name: e.default for e in ELEMENTS}
    before = sums(base)
    for e in ELEMENTS:
        assert sums(base | {e.name: e.default + 1}) != before, e.name


def test_a_new_row_is_summed_at_once():
    crane = Element("crane_hire", "Crane hire", 180, "money", (FAILURE,))
    table = checked([*ELEMENTS, crane])
    amounts = {name: row.default for name, row in table.items()}
    before = sums({e.name: e.default for e in ELEMENTS})
    after = sums(amounts, table)
    assert after[FAILURE] == pytest.approx(before[FAILURE] + 180)
    assert after[PLANNED] == before[PLANNED]
    assert "crane_hire" in elements.behind(FAILURE, table)


@pytest.mark.parametrize(
    "row",
    [
        Element("crane_hire", "Crane hire", 180, "money"),
        Element("crane_hire", "Crane hire", 180, "money", ("failure",)),
        Element("crane_hours", "Crane", 2, "hours", (FAILURE,)),
        Element("crane_hours", "Crane", 2, "hours", (FAILURE,), "crane_per_hour"),
        Element("tow", "Tow again", 1, "money", (FAILURE,)),
    ],
)
def test_a_row_that_would_not_be_summed_is_refused(row):
    with pytest.raises(ValueError, match=row.name):
        checked([*ELEMENTS, row])


def test_the_sums_by_hand():
    """Planned: 210 + 2.5 h at 120 + 2 h at 50 + 40 = 650. On failure: 210 + 4 h at 120 times 1.25 + 400 + 250
    + 8 h at 50 + 3 h at 40 + 200 + 120 + 100 = 2,400."""
    made = sums({name: row.default for name, row in ELEMENT.items()})
    assert (made[PLANNED], made[FAILURE], made["capture"], made["follow_up"]) == (650, 2400, 30, 60)
