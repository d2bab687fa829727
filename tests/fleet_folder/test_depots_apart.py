"""A depot's export brings its decisions, answers, notes, claims, holds and photos into the fleet's ledger;
one ledger keeps each unit, and a second load changes nothing."""

import io
import json
import shutil
from datetime import date, datetime
from pathlib import Path

import pandas as pd
import pytest
from PIL import Image

from dashboard.cli import main
from ingest.errors import EntryRefused
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.changes import change_cells
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.transaction import transaction
from ingest.ledger.upkeep import check_ledger
from ingest.visit.claims import state_claim
from ingest.visit.corrections import withdraw_visit
from ingest.visit.holds import begin_hold, close_line
from ingest.visit.photos import add_photo
from ingest.visit.settling import settle_questions
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import FLEET, steady_visits, write_visits

TODAY = date(2026, 11, 25)
UNITS = {
    "vehicles": "unit,depot\nT1,North\nT2,North",
    "pump_types": "pump_type,current_low_a,current_high_a\nP1,4,7",
    "pumps": "unit,pump_type,serial,lot,fitted_on,fitted_odometer,removed_on,removed_odometer,removal\n"
    "T1,P1,S1,L7,2023-06-01,30000,,,\nT2,P1,S2,L7,2022-06-01,10000,2024-02-01,40700,failed\n"
    "T2,P1,S3,L7,2024-02-01,40700,,,",
}
DECIDED = datetime(2024, 11, 1, 8, 30)


def png() -> bytes:
    out = io.BytesIO()
    Image.new("RGB", (40, 20), "grey").save(out, "PNG")
    return out.getvalue()


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def load(ledger, folder, **more):
    return load_folder(ledger, folder, today=TODAY, author=ANYBODY, **more)


@pytest.fixture(scope="module")
def depot_once(tmp_path_factory):
    """Depot North's ledger: two units, and all that people said and decided about them."""
    root = tmp_path_factory.mktemp("depot")
    ledger = root / "north.duckdb"
    visits = steady_visits("T1", 7) + steady_visits("T2", 4)
    visits[3]["odometer"] = round(49_000 * 1.609)
    visits += [visits[0] | {"mean_a": 5.3, "ref": "again"}]  # a second reading of that day
    load(ledger, write_visits(root / "in", visits, **UNITS))
    [(question,)] = query(ledger, "SELECT question_id FROM question WHERE code = 'odometer-kilometres'")
    settle_questions(ledger, [question], "as-typed", "towed a lot", ANYBODY, command="test")
    with open_ledger(ledger, read_only=False) as con:
        for status, day in (("booked", date(2026, 12, 1)), ("booked", date(2026, 12, 3))):
            said = {"pump_id": 1, "status": status, "planned_on": day, "decided_by": "AB"}
            insert_row(con, "booking", said | {"decided_at": DECIDED, "recorded_at": DECIDED})
        note = {"make": "Orrin", "year_from": 2019, "access": "=behind the seat", "picture": png()}
        insert_row(con, "connection_note", note)
    state_claim(ledger, 2, "open", on=date(2024, 2, 5), author=ANYBODY, today=TODAY)
    hold = begin_hold(ledger, "P1", "L7", reason="three seized", on=date(2026, 1, 5), author=ANYBODY)
    close_line(ledger, hold, "checked", pump_id=1, on=date(2026, 1, 6), author=ANYBODY)
    add_photo(ledger, 1, "p.png", png(), author=ANYBODY)
    export_ledger(ledger, root / "out")
    return root


@pytest.fixture
def depot(depot_once, tmp_path):
    shutil.copytree(depot_once, tmp_path / "north")
    return tmp_path / "north"


@pytest.fixture(scope="module")
def fleet_once(depot_once, tmp_path_factory):
    """A ledger that was new and has loaded the depot's export."""
    ledger = tmp_path_factory.mktemp("fleet") / "fleet.duckdb"
    report = load(ledger, depot_once / "out")
    assert report.refused == ()
    assert report.changes
    # answered where it came from, so nobody is asked here
    assert "odometer-kilometres" not in {problem.code for problem in report.questions}
    return ledger


@pytest.fixture
def fleet(fleet_once, tmp_path):
    return Path(shutil.copyfile(fleet_once, tmp_path / "fleet.duckdb"))


CARRIED = {
    "booking": "unit, serial, status, planned_on, decided_by, decided_at FROM booking JOIN pump"
    " USING (pump_id) ORDER BY booking_id",
    "connection_note": "make, year_from, access, octet_length(picture) > 300 FROM connection_note",
    "claim_step": "unit, serial, state, stated_on FROM claim_step JOIN pump USING (pump_id)",
    "hold": "pump_type, lot, reason, held_on, lifted_on FROM hold",
    "hold_closed": "lot, unit, outcome, closed_on FROM hold_closed JOIN pump USING (pump_id)",
    "photo": "unit, visited_on, shows, picture_hash FROM photo JOIN visit USING (visit_id)",
    "question": "question.unit, visited_on, code, status, answer, answered_by FROM question"
    " JOIN visit ON row_key = CAST(visit_id AS VARCHAR) WHERE code = 'odometer-kilometres'",
    "visit": "unit, visited_on, round(odometer_km, 6), in_trend, withdrawn, serial FROM visit"
    " JOIN pump USING (pump_id, unit) ORDER BY ALL",
}


def content(ledger):
    return {name: query(ledger, f"SELECT {columns}") for name, columns in CARRIED.items()}


def test_an_export_comes_back_whole_and_a_second_time_changes_nothing(depot, fleet):
    wanted = content(depot / "north.duckdb")
    assert all(wanted.values())
    assert content(fleet) == wanted
    for target in (depot / "north.duckdb", fleet):  # where it came from, and another
        again = load(target, depot / "out")
        assert (again.changes, again.refused) == (0, ())
        assert content(target) == wanted
        assert check_ledger(target).sound


def test_what_the_depot_changes_later_follows(depot, fleet):
    north = depot / "north.duckdb"
    with open_ledger(north, read_only=False) as con, transaction(con, ANYBODY, "facts") as stamp:
        change_cells(con, "hold", 1, {"lifted_on": date(2026, 2, 1)}, stamp, reason="done")
        change_cells(con, "connection_note", 1, {"access": "by the filler"}, stamp, reason="seen")
        change_cells(
            con, "visit", 4, {"odometer_km": 80_467.2, "in_trend": False}, stamp, reason="read again"
        )
    withdraw_visit(north, 2, author=ANYBODY, reason="another van")
    export_ledger(north, depot / "later")
    report = load(fleet, depot / "later")
    assert report.refused == ()
    assert content(fleet) == content(north)


def test_a_unit_is_kept_by_one_ledger_until_it_is_handed_over(depot, fleet, tmp_path):
    south = tmp_path / "south.duckdb"
    own = {"vehicles": "unit,depot\nT1,South\nT9,South", "pumps": "unit,pump_type\nT1,P1\nT9,P1"}
    load(south, write_visits(tmp_path / "in", steady_visits("T9", 2), **own))
    export_ledger(south, tmp_path / "out")
    before = content(fleet)
    report = load(fleet, tmp_path / "out")
    assert {(p.file, p.text.partition(" (")[2]) for p in report.refused} == {
        ("vehicles.csv", "depot North)"), ("pumps.csv", "depot North)"),
    }  # fmt: skip
    assert [n for n in report.notices if "T1; --hand-over" in n]
    assert query(fleet, "SELECT unit, depot FROM vehicle ORDER BY 1") == [
        ("T1", "North"), ("T2", "North"), ("T9", "South"),
    ]  # fmt: skip
    assert content(fleet)["booking"] == before["booking"]
    with pytest.raises(EntryRefused, match="no unit T7"):
        load(fleet, tmp_path / "out", hand_over=["T7"])
    assert main(["load", str(tmp_path / "out"), "--ledger", str(fleet), "--hand-over", "T1"]) == 0
    assert query(fleet, "SELECT depot FROM vehicle WHERE unit = 'T1'") == [("South",)]
    refused = load(fleet, depot / "out").refused
    assert {p.text.split("'")[1] for p in refused} == {"T1"}


def test_own_units_settings_and_types_stand(depot, tmp_path):
    fleet = tmp_path / "fleet.duckdb"
    own = {"vehicles": "unit,depot\nT1,Main", "pump_types": "pump_type,current_low_a\nP1,3.5"}
    toml = FLEET.replace("650", "700")
    load(fleet, write_visits(tmp_path / "in", steady_visits("T1", 2), toml=toml, **own))
    report = load(fleet, depot / "out")
    assert {p.text for p in report.refused} == {"'T1' is kept by this ledger"}
    assert query(fleet, "SELECT current_low_a FROM pump_type WHERE pump_type = 'P1'") == [(3.5,)]
    assert query(fleet, "SELECT amount FROM cost_entry WHERE element = 'planned_replacement'") == [(700.0,)]
    assert any("planned_replacement" in notice for notice in report.notices)
    toml = (depot / "out" / "fleet.toml").read_text()
    (depot / "out" / "fleet.toml").write_text(toml.replace('"USD"', '"CAD"'))
    with pytest.raises(EntryRefused, match="nothing is converted"):
        load(fleet, depot / "out")


def test_what_an_export_carries_is_held_against_its_columns(depot, tmp_path):
    path = depot / "out" / "ledger" / "booking.csv"
    rows = pd.read_csv(path, dtype=str)
    rows.loc[0, "status"] = "<b>gone</b>"
    rows.to_csv(path, index=False)
    photo = depot / "out" / "ledger" / "photo.csv"
    pictures = pd.read_csv(photo, dtype=str)
    pictures["picture"] = "bm90IGEgcGljdHVyZQ=="
    pictures.to_csv(photo, index=False)
    report = load(tmp_path / "fleet.duckdb", depot / "out")
    assert {(p.file, p.field) for p in report.refused} == {
        ("ledger/booking.csv", "status"), ("ledger/photo.csv", "picture"),
    }  # fmt: skip
    assert json.dumps(report.as_dict(), default=str)
    assert query(tmp_path / "fleet.duckdb", "SELECT count(*) FROM booking") == [(1,)]
    assert query(tmp_path / "fleet.duckdb", "SELECT count(*) FROM photo") == [(0,)]
