"""Warranty terms, claims and holds: what stands, what may be said, and by whom it is seen."""

from datetime import date
from functools import partial

import pytest

from dashboard.cli import main
from dashboard.data.queries import ask
from dashboard.parts.claim_sheet import claim_sheet
from dashboard.words.warranty import warranty_line
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.visit.claims import pump_claimed_for, state_claim
from ingest.visit.holds import begin_hold, close_line, holds_on_pump, lift_hold, lines_of
from ingest.visit.pump_lives import NewPump, Removal, replace_pump
from ingest.visit.warranty import Warranty, after_months, warranty_of
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words

NORTH = Author("Nora", "manager", ("North",))


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb", fitted=True)


def query(ledger, sql, depots=()):
    with open_ledger(ledger, depots=depots) as connection:
        return connection.execute(sql).fetchall()


def change(ledger, sql):
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(sql)


@pytest.mark.parametrize(
    ("day", "months", "then"),
    [
        (date(2024, 1, 31), 1, date(2024, 2, 29)),  # a day its month lacks
        (date(2024, 11, 20), 24, date(2026, 11, 20)),
        (date(2024, 1, 1), 0.5, date(2024, 1, 16)),
    ],
)
def test_months_are_counted_by_the_calendar(day, months, then):
    assert after_months(day, months) == then


def test_the_first_term_passed_ends_it_and_what_is_not_known_is_said():
    both = Warranty(1, date(2026, 1, 1), 60_000.0)
    assert both.standing(date(2025, 12, 31), 59_000) == "in"
    assert both.standing(date(2026, 1, 2), 59_000) == "over"
    assert both.standing(date(2025, 12, 31), 61_000) == "over"
    assert both.standing(date(2025, 12, 31)) == "unknown"
    assert "2026-01-01 or 60,000 km on the odometer, whichever comes first" in warranty_line(
        both, "km", date(2025, 1, 1), 1000
    )
    assert Warranty(1).standing(date(2026, 1, 1)) == "none"
    lacking = Warranty(1, unknown=("the day it was first fitted",))
    assert "not known without the day it was first fitted" in warranty_line(lacking, "km", date(2026, 1, 1))


def test_a_pump_moved_keeps_its_first_day_and_a_used_one_has_none(ledger):
    change(ledger, "UPDATE pump_type SET warranty_distance_km = 50000")
    [(old,)] = query(ledger, "SELECT pump_id FROM pump WHERE unit = '101'")
    change(ledger, f"UPDATE pump SET continues_pump_id = {old}, prior_distance_km = 20000,"
                   " fitted_on = '2024-06-01', fitted_odometer_km = 90000 WHERE unit = '102'")  # fmt: skip
    change(ledger, "UPDATE pump SET prior_distance_km = 20000 WHERE unit = '103'")
    numbers = dict(query(ledger, "SELECT unit, pump_id FROM pump"))
    with open_ledger(ledger) as connection:
        moved, used = (warranty_of(connection, numbers[unit]) for unit in ("102", "103"))
    assert (moved.until, moved.until_km) == (date(2023, 3, 1), 120_000)
    assert (used.until, used.until_km, used.unknown) == (None, 30_000, ("the day it was first fitted",))


def test_a_claim_is_opened_sent_and_settled_with_author_and_day(ledger, tmp_path, capsys):
    replace_pump(ledger, "104", Removal("failed", "seized"), NewPump(serial="S-new"), on=date(2026, 2, 1),
                 odometer_km=136_000, author=ANYBODY)  # fmt: skip
    sheet = tmp_path / "claim.html"
    run = ["claim", "--ledger", str(ledger)]
    assert main(run) == 0
    assert "104          FP-10, serial S-104, off on 2026-02-01: not claimed yet" in capsys.readouterr().out
    sent = [*run, "104", "--state", "sent", "--on", "2026-02-03", "--amount", "210", "--by", "AB"]
    assert main([*sent, "--html", str(sheet)]) == 0
    out = capsys.readouterr().out
    assert "It came off in warranty, which ran until 2026-11-20." in out
    assert "2026-02-03  sent, 210 USD, AB" in out
    html = sheet.read_text(encoding="utf-8")
    for fact in ("S-104", "seized", "13.50 V at the pump", "Ran</td>", "23,612 mi", "Not on record: VIN"):
        assert fact in html.replace("\N{NON-BREAKING HYPHEN}", "-"), fact
    assert main([*run, "104", "--state", "refused", "--on", "2026-02-09"]) == 1
    assert "Say why it was refused" in capsys.readouterr().err
    assert main([*run, "104", "--state", "refused", "--on", "2026-02-09", "--why", "water found"]) == 0
    assert main([*run, "104", "--state", "refused", "--on", "2026-02-10", "--why", "again"]) == 1
    assert "The claim is refused; it can't be refused now." in capsys.readouterr().err
    assert query(ledger, "SELECT state, stated_by FROM claim_step ORDER BY 1 DESC")[0] == ("sent", "AB")


def test_no_claim_for_a_pump_in_service_nor_before_it_came_off(ledger):
    with pytest.raises(EntryRefused, match="No pump has come off unit 101"):
        pump_claimed_for(ledger, "101")
    [(running,)] = query(ledger, "SELECT pump_id FROM pump WHERE unit = '101'")
    with pytest.raises(EntryRefused, match="is in service"):
        state_claim(ledger, running, "open", on=date(2026, 2, 1), author=ANYBODY)
    old = pump_claimed_for(ledger, "104")
    for day in (date(2024, 11, 19), date(2026, 2, 2)):
        with pytest.raises(EntryRefused, match="can't be the day"):
            state_claim(ledger, old, "open", on=day, author=ANYBODY, today=date(2026, 2, 1))


def test_a_lot_is_held_listed_by_depot_and_closed_one_by_one(ledger, tmp_path, capsys):
    change(ledger, "UPDATE pump SET lot = 'L7' WHERE unit IN ('101', '007')")
    run = ["hold", "--ledger", str(ledger)]
    assert main([*run, "FP-10", "--lot", "L7", "--why", "two seized", "--by", "PL"]) == 0
    out = capsys.readouterr().out
    assert "Open: 2 of 2 pumps, 1 part in stock at 1 depot." in out
    assert [line.split()[:2] for line in out.splitlines()[2:]] == [
        ["North", "101"], ["North", "1"], ["South", "007"],
    ]  # fmt: skip
    assert main([*run, "FP-10", "--lot", "L7", "--why", "again"]) == 1
    assert "Lot L7 of type FP-10 is on hold since" in capsys.readouterr().err
    numbers = dict(query(ledger, "SELECT unit, pump_id FROM pump WHERE removed_on IS NULL"))
    with open_ledger(ledger) as connection:
        assert holds_on_pump(connection, numbers["101"])[0].endswith("two seized")
        assert holds_on_pump(connection, numbers["104"]) == []
    assert main([*run, "--close", "1", "--unit", "101", "--outcome", "checked"]) == 0
    with pytest.raises(EntryRefused, match="closed already"):
        close_line(ledger, 1, "checked", pump_id=numbers["101"], author=ANYBODY)
    close_line(ledger, 1, "returned", depot="North", author=ANYBODY)
    replace_pump(ledger, "007", Removal("other"), on=date.today(), author=ANYBODY)
    with open_ledger(ledger) as connection:
        assert lines_of(connection, 1)["outcome"].tolist() == ["checked", "returned", "changed"]
        assert holds_on_pump(connection, numbers["101"]) == []
    file = tmp_path / "recall.html"
    assert main([*run, "--recall", "1", "--html", str(file)]) == 0
    assert "Open: 0 of 2 pumps" in file.read_text(encoding="utf-8")
    lift_hold(ledger, 1, "supplier's letter", author=ANYBODY)
    with pytest.raises(EntryRefused, match="ended on"):
        close_line(ledger, 1, "checked", depot="North", author=ANYBODY)


def test_parts_of_a_type_on_hold_are_not_planned_with_until_they_are_checked(ledger):
    from analytics.statements import statement

    def on_hand():
        with open_ledger(ledger) as connection:
            stock = connection.execute(statement("plan_stock")).fetchall()
            assert connection.execute(statement("plan_stock_of"), ["North", "FP-10"]).fetchall() == [
                (stock[0][2],)
            ]
        return stock

    begin_hold(ledger, "FP-10", "L7", "a lot of it", author=ANYBODY)
    assert on_hand() == [("North", "FP-10", 1)]
    number = begin_hold(ledger, "FP-10", None, "all of it", author=ANYBODY)
    assert on_hand() == [("North", "FP-10", 0)]
    close_line(ledger, number, "checked", depot="North", author=ANYBODY)
    assert on_hand() == [("North", "FP-10", 1)]


def test_who_is_bound_to_a_depot_sees_and_closes_its_own_alone(ledger):
    change(ledger, "UPDATE pump SET lot = 'L7' WHERE unit IN ('101', '007')")
    number = begin_hold(ledger, "FP-10", "L7", "units 101 and 007 stalled", author=ANYBODY)
    begin_hold(ledger, "FP-30", "L9", "nobody has it", author=ANYBODY)
    numbers = dict(query(ledger, "SELECT unit, pump_id FROM pump WHERE removed_on IS NULL"))
    with open_ledger(ledger, depots=("North",)) as connection:
        assert set(lines_of(connection, number)["depot"]) == {"North"}
        assert connection.execute("SELECT reason, held_by FROM hold").fetchall() == [
            ("for a reason that the fleet's planner knows", None)
        ]
    for line in ({"pump_id": numbers["007"]}, {"depot": "South"}):
        with pytest.raises(EntryRefused):
            close_line(ledger, number, "checked", author=NORTH, **line)
    close_line(ledger, number, "checked", pump_id=numbers["101"], author=NORTH)
    with pytest.raises(EntryRefused, match="The whole fleet"):
        begin_hold(ledger, "FP-20", None, "why", author=NORTH)
    south = replace_pump(ledger, "105", Removal("failed"), on=date(2026, 2, 1), author=ANYBODY)[0]
    with pytest.raises(EntryRefused):
        state_claim(ledger, south, "open", on=date(2026, 2, 1), author=NORTH)
    state_claim(ledger, south, "open", on=date(2026, 2, 1), author=ANYBODY)
    assert query(ledger, "SELECT count(*) FROM claim_step", ("North",)) == [(0,)]


def test_a_claim_sheet_needs_no_reading(ledger):
    old = pump_claimed_for(ledger, "104")
    with open_ledger(ledger) as connection:
        warranty, settings = warranty_of(connection, old), settings_at(connection)
    html = claim_sheet(partial(ask, ledger), warranty, settings, lambda _: None)
    assert "any reading" in html
    assert "Out of warranty: it ended at 2023-03-01" in html.replace("\N{NON-BREAKING HYPHEN}", "-")


def test_the_pages_show_claims_and_holds_and_take_both(ledger, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    old, _ = replace_pump(ledger, "103", Removal("failed"), on=date.today(), author=ANYBODY)
    change(ledger, f"UPDATE pump SET fitted_on = '{date.today().replace(day=1)}' WHERE pump_id = {old}")
    begin_hold(ledger, "FP-10", None, "two seized", author=ANYBODY)
    page = open_page("fleet_data", part="Warranty and lots")
    assert "1 pump came off in warranty within a year and nobody claimed: 103" in words(page)
    assert "Open: 3 of 3 pumps, 1 part in stock at 1 depot." in words(page)
    page.selectbox(key="close_line_1").set_value(0)
    page.segmented_control(key="close_outcome_1").set_value("checked")
    page.text_input(key="close_by_1").set_value("PL")
    page.button("FormSubmitter:close_1-Close this line").click().run()
    assert query(ledger, "SELECT outcome, closed_by FROM hold_closed") == [("checked", "PL")]
    page = open_page("pump_history", pump=str(old), history_part="Claim")
    assert "It came off in warranty" in words(page)
    page.segmented_control(key="claim_state").set_value("open")
    page.text_input(key="claim_by").set_value("AB")
    page.button(f"FormSubmitter:claim_{old}-Keep this").click().run()
    assert query(ledger, "SELECT state, stated_by FROM claim_step") == [("open", "AB")]
