"""Facts kept by hand: read like a fleet folder's cells, changed with a line in the log, or refused whole."""

import pandas as pd
import pytest

from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.cells import read_column
from ingest.fleet_folder.one_fact import CONNECTION_NOTES, add_facts, change_facts, read_facts
from ingest.fleet_folder.tables import PUMP_TYPES, PUMPS, VEHICLES
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.rows import insert_row
from ingest.wording.questions import unknown_pump_type
from tests.ledger_fixture import build_ledger

WHO = {"author": Author("PL", "manager"), "reason": "maker's sheet"}


@pytest.fixture
def ledger(tmp_path):
    return build_ledger(tmp_path / "fleet.duckdb")


def ask(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def test_cells_are_read_with_their_units():
    typed = {"current_low_a": "4,5", "spec_at_kpa": "58 psi", "warranty_distance": "36,000", "segments": "10"}
    values = read_facts(PUMP_TYPES, typed, "mi")
    assert values["current_low_a"] == 4.5
    assert values["spec_at_kpa"] == pytest.approx(399.9, abs=0.05)
    assert values["warranty_distance_km"] == pytest.approx(57_936.4, abs=0.1)
    assert values["segments"] == 10


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({"segments": "8.5"}, "segments: '8.5' is not a whole number"),
        ({"motor": "steam"}, "'steam' is not one of brushed, brushless"),
        ({"rpm_low": "minus"}, "rpm_low"),
        ({"pump_type": " "}, "pump_type: must be given"),
    ],
)
def test_what_cannot_be_taken_is_refused_by_field(typed, says):
    with pytest.raises(EntryRefused, match=says.replace("(", r"\(")):
        read_facts(PUMP_TYPES, typed, "km")
    with pytest.raises(EntryRefused, match="retires_on"):
        read_facts(VEHICLES, {"retires_on": "some day"}, "km")


@pytest.mark.parametrize(
    ("table", "name", "nothing", "least"),
    [
        (VEHICLES, "pm_interval", "0", "50 and"),
        (VEHICLES, "pm_interval_days", "0", "1"),
        (VEHICLES, "pm_interval_hours", "0", "1"),
        (PUMP_TYPES, "current_high_a", "0", "0.1"),
        (PUMP_TYPES, "rated_pressure_kpa", "0", "1"),
        (PUMP_TYPES, "min_delivery_l_min", "-1", "0.01"),
        (PUMP_TYPES, "lead_time_days", "1e6", "3650"),
        (PUMPS, "run_share", "0", "0.001"),
    ],
)
def test_a_value_on_which_no_analysis_can_stand_is_refused_by_field_as_load_refuses_it(
    table, name, nothing, least
):
    with pytest.raises(EntryRefused, match=f"{name}: '{nothing}' is impossible; it must lie between") as said:
        read_facts(table, {name: nothing}, "km")
    assert least in said.value.text
    value, problem = read_column(pd.Series([nothing, ""]), table.by_name[name], "km")
    assert "is impossible" in problem[0]
    assert not problem[1]
    assert pd.isna(value[1])


def test_each_changed_cell_is_logged_and_an_unchanged_one_is_not(ledger):
    values = read_facts(PUMP_TYPES, {"current_low_a": "4", "current_high_a": "7.5", "fuel": ""}, "km")
    assert change_facts(ledger, PUMP_TYPES, "FP-10", values, **WHO) == 2
    assert change_facts(ledger, PUMP_TYPES, "FP-10", values, **WHO) == 0
    assert ask(
        ledger,
        "SELECT row_key, field, old_value, new_value, changed_by, reason FROM change_log ORDER BY field",
    ) == [
        ("FP-10", "current_high_a", "7", "7.5", "PL", "maker's sheet"),
        ("FP-10", "fuel", "petrol", None, "PL", "maker's sheet"),
    ]


def test_low_above_high_or_nobody_answering_changes_nothing(ledger):
    with pytest.raises(EntryRefused, match="lies above"):
        change_facts(ledger, PUMP_TYPES, "FP-10", {"current_low_a": 9.0}, **WHO)
    with pytest.raises(EntryRefused, match="initials"):
        change_facts(
            ledger, PUMP_TYPES, "FP-10", {"current_low_a": 3.0}, author=Author(" ", "manager"), reason="x"
        )
    with pytest.raises(EntryRefused, match="no entry"):
        change_facts(ledger, PUMP_TYPES, "FP-10", {"recorded_at": None}, **WHO)
    with pytest.raises(EntryRefused, match="There is no"):
        change_facts(ledger, PUMP_TYPES, "FP-99", {"fuel": "diesel"}, **WHO)
    assert ask(ledger, "SELECT count(*) FROM change_log") == [(0,)]


def test_a_type_is_added_once(ledger):
    assert add_facts(ledger, PUMP_TYPES, {"pump_type": "FP-40", "segments": 8}, **WHO) == "FP-40"
    with pytest.raises(EntryRefused, match="already"):
        add_facts(ledger, PUMP_TYPES, {"pump_type": "FP-40"}, **WHO)
    assert ask(ledger, "SELECT new_value FROM change_log") == [("pump_type FP-40, segments 8",)]


def test_a_clamping_note_takes_a_picture_and_logs_its_size(ledger):
    note = add_facts(ledger, CONNECTION_NOTES, {"make": "Alder", "clamp_point": "tank"}, **WHO)
    change_facts(ledger, CONNECTION_NOTES, note, {"picture": b"\x89PNG1", "picture_type": "png"}, **WHO)
    assert ask(ledger, f"SELECT picture FROM connection_note WHERE note_id = {note}") == [(b"\x89PNG1",)]
    assert ("5 bytes",) in ask(ledger, "SELECT new_value FROM change_log")


def test_what_was_found_can_be_told_later(ledger):
    assert change_facts(ledger, PUMPS, 4, {"found": "seized"}, **WHO) == 1
    assert ask(ledger, "SELECT found FROM pump WHERE pump_id = 4") == [("seized",)]


def test_a_types_specification_settles_the_question_for_it(ledger):
    with open_ledger(ledger, read_only=False) as con:
        insert_row(con, "pump_type", {"pump_type": "FP-33"})
        con.execute("UPDATE pump SET pump_type = 'FP-33' WHERE pump_id = 1")
        raise_question(con, "pump", "1", unknown_pump_type("FP-33"), unit="101")
    status = "SELECT status, answered_by FROM question WHERE code = 'unknown-pump-type'"
    change_facts(ledger, PUMP_TYPES, "FP-33", {"segments": 8}, **WHO)
    assert ask(ledger, status) == [("open", None)]
    change_facts(ledger, PUMP_TYPES, "FP-33", {"current_low_a": 5.0}, **WHO)
    assert ask(ledger, status) == [("corrected", "PL")]
