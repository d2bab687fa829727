"""Every page, file and address, tried as somebody bound to a depot, shows nothing of another."""

from __future__ import annotations

import re

import pytest

from dashboard.data import depots, loaders
from dashboard.shell import access, lists
from dashboard.shell.navigation import PAGES
from ingest.ledger.connection import open_ledger
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page

FOREIGN_UNITS = ("QZ-105", "QZ-106", "QZ-007", "QZ-7")
# Cut from a depot that is not theirs; what is no identifier ("South") is looked for as a word.
FOREIGN = (*FOREIGN_UNITS, "QZS-", "QZVIN", "QZI", "Qouth")
ADDRESSES = [
    *((view, {}) for view in PAGES),
    *(("pump_history", {"pump": str(pump)}) for pump in range(1, 10)),
    *(("log_visit", {"saved": str(visit)}) for visit in (1, 22, 40)),
    *(("log_visit", {"unit": unit}) for unit in ("QZ-105", "105", "007")),
    *(("fleet_data", {"part": part, "find_unit": "QZ"}) for part in ("Work done", "Changes", "Settings")),
    ("fleet_data", {"part": "Warranty and lots"}), ("pump_history", {"pump": "8", "history_part": "Claim"}),
    ("plan_board", {"pump": "7"}), ("plan_board", {"decide_unit": "QZ"}),
    ("pumps_by_risk", {"find": "QZ", "by_depot": "Qouth"}), ("open_questions", {"of_unit": "QZ"}),
    *(("costs", {"costs_part": part}) for part in ("Policies", "Types and lots", "Lists and outcomes")),
]  # fmt: skip


@pytest.fixture(scope="module")
def fleet(tmp_path_factory):
    """A ledger whose southern units, serials, VINs and initials can be told anywhere."""
    path = build_ledger(tmp_path_factory.mktemp("bound") / "fleet.duckdb", fitted=True)
    with open_ledger(path, read_only=False) as con:
        southern = "('105', '106', '007', '7')"
        con.execute("UPDATE vehicle SET vin = CASE depot WHEN 'South' THEN 'QZVIN' ELSE 'OWNVIN' END || unit")
        con.execute("UPDATE vehicle SET depot = 'Qouth' WHERE depot = 'South'")
        con.execute("UPDATE bay_hours SET depot = 'Qouth' WHERE depot = 'South'")
        con.execute(f"UPDATE visit SET technician = 'QZI' WHERE unit IN {southern}")
        con.execute(f"UPDATE pump SET serial = 'QZ' || serial WHERE unit IN {southern}")
        for table in ("visit", "pump", "vehicle"):
            con.execute(f"UPDATE {table} SET unit = 'QZ-' || unit WHERE unit IN {southern}")
        con.execute(
            "INSERT INTO hold (hold_id, pump_type, lot, reason, held_on, held_by, recorded_at)"
            " VALUES (1, 'FP-10', NULL, 'unit QZ-105 stalled', DATE '2026-01-02', 'QZI', now())"
        )
        con.execute(
            "INSERT INTO change_log"
            " (change_id, changed_at, changed_by, table_name, row_key, field, new_value) VALUES"
            " (900, now(), 'QZI', 'vehicle', 'QZ-105', 'depot', 'Qouth'),"
            " (901, now(), 'QZI', 'setting', 'ripple_limit_pct', 'value', '14')"
        )
    return path


@pytest.fixture
def bound(fleet, monkeypatch):
    """Let the one at the screen be a manager, bound to the north or to nothing."""

    def to(*names):
        monkeypatch.setenv("PUMPLEDGER", str(fleet))
        person = access.Person("Nora", "manager", names)
        monkeypatch.setattr(access, "current_person", lambda: person)
        monkeypatch.setattr(access, "role", lambda: "manager")

    yield to
    depots._signed_in[0] = False


def sent(page) -> str:
    """All that a page sends to the browser, tables among it, and what its files would hold."""
    protos = [repr(element.proto) for element in walk(page._tree)]
    tables = [frame.value.to_csv() for frame in page.dataframe] + [
        table.value.to_csv() for table in page.table
    ]
    return "\n".join(protos + tables)


def walk(block):
    for child in block.children.values():
        if hasattr(child, "children"):
            yield from walk(child)
        if getattr(child, "proto", None) is not None:
            yield child


def foreign_in(text: str) -> set[str]:
    return {name for name in FOREIGN if re.search(rf"(?<![A-Za-z]){name}", text)}


@pytest.mark.parametrize(("view", "query"), ADDRESSES, ids=lambda value: str(value))
def test_an_address(bound, monkeypatch, view, query):
    files = []

    def keep(table, name, label=""):
        files.append((table() if callable(table) else table).to_csv())

    monkeypatch.setattr(lists, "download", keep)
    bound("North")
    page = open_page(view, **query)
    typed = {name for name in FOREIGN if name in str(query)}  # what they typed themselves comes back
    assert foreign_in(sent(page)) <= typed
    assert foreign_in("\n".join(files)) == set()


def test_who_is_bound_to_nothing_sees_what_the_others_must_not(bound):
    """The search finds what it looks for."""
    bound()
    text = "\n".join(sent(open_page(view)) for view in ("pumps_by_risk", "fleet_data", "plan_board"))
    assert foreign_in(text) >= {*FOREIGN_UNITS, "QZVIN", "Qouth"}


def test_one_answer_is_not_given_to_another(bound):
    """Bound and unbound in turn: what is kept for one is not shown to the other."""
    north, south = ("North",), ("Qouth",)
    for names, theirs in (((), True), (north, False), ((), True), (south, True), (north, False)):
        bound(*names)
        text = sent(open_page("pumps_by_risk"))
        assert ("QZ-105" in text) == theirs
        named = re.search(r"(?<![\d.])101(?!\d)", text)  # the unit, not some digits of a figure
        assert bool(named) == (names != south)


def test_what_nobody_is_told_to_ask_for_is_refused(bound, fleet, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(fleet))
    monkeypatch.setattr(depots, "_signed_in", [True])
    with pytest.raises(depots.LedgerError, match="not known"):
        loaders.ask("unit_names")
    token = depots._taken_along.set(("North",))
    try:
        make = depots.taking_along(lambda: loaders.ask("unit_names")["unit"].tolist())
    finally:
        depots._taken_along.reset(token)
    assert make() == ["101", "102", "103", "104"]
