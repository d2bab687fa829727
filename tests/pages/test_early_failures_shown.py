"""Types and lots that fail early are named where pumps are planned, and only those."""

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from dashboard.parts import early_failures
from tests.pages.page_runs import seen

GROUPS = pd.DataFrame(
    {"kind": ["lot", "type"], "name": ["L1 (T)", "T"], "pumps": [12, 90], "failed": [8, 9],
     "expected": [2.0, 9.0], "ratio": [4.0, 1.0], "p_value": [1e-6, 0.4], "likelier": [4000.0, 1.0],
     "threshold": [200.0] * 2, "finding": ["fails early", "chance can do that"], "flagged": [True, False],
     "text": ["L1 (T): 8 of 12 pumps failed where the rest would have had 2.0.", "T: chance."]}
)  # fmt: skip


def drawn(groups):
    def page(groups):
        from dashboard.parts import early_failures

        early_failures.show_warning(groups)

    return AppTest.from_function(page, kwargs={"groups": groups}).run()


@pytest.fixture(autouse=True)
def _no_links(monkeypatch):
    monkeypatch.setattr(early_failures.frame, "link", lambda *a, **k: None)


def test_a_lot_beyond_chance_is_named_with_its_counts():
    (warning,) = drawn(GROUPS).warning
    assert seen(warning.value).startswith("▲ Fails early: L1 (T): 8 of 12 pumps failed")


def test_a_suspect_is_noted_below_and_not_warned_of():
    page = drawn(GROUPS.assign(flagged=False, finding=["suspect", "chance can do that"]))
    assert not page.warning
    assert any("Suspect: L1 (T): 8 of 12" in seen(c.value) for c in page.caption)


def test_nothing_is_said_where_chance_can_do_it():
    assert not drawn(GROUPS.assign(flagged=False, finding="chance can do that")).warning
    assert not drawn(GROUPS.iloc[:0]).warning


def test_the_table_says_finding_and_threshold_in_words():
    table = early_failures.group_table(GROUPS)
    assert table["Finding"].tolist() == ["▲ fails early", "○ chance can do that"]
    assert table["Times likelier of a bad one"].tolist() == ["4,000", "1.0"]
    assert table["Named from"].tolist() == ["200", "200"]
    assert table["Chance of so many, p"].tolist() == ["1e-06", "0.40"]
