"""A fleet folder goes in once; corrections are logged; bad rows are named and kept out."""

import json

import pytest

from dashboard.cli import main
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.visit.corrections import correct_visit
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_folder, write_visits


@pytest.fixture
def ledger(tmp_path):
    return tmp_path / "fleet.duckdb"


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def count(report, file):
    return next(c for c in report.tables if c.file == file)


FULL = {
    **ONE_UNIT,
    "services": "unit,done_on,odometer,work\nT1,2024-04-09,43000,filter\nT1,2024-04-09,43000,wiring",
    "breakdowns": "unit,happened_on,odometer,pump_confirmed,cost\nT1,2024-06-01,44500,no,300",
    "stock": "depot,pump_type,count\nnorth,P1,3",
    "bays": "depot,week,hours\nnorth,,40\nnorth,2026-12-07,20",
    "due_work": "unit,due_on,work,hours\nT1,2026-12-01,service,2",
    "odometers": "unit,read_on,odometer\nT1,2024-02-01,40700",
}


def test_every_table_goes_in_and_a_second_time_changes_nothing(tmp_path, ledger):
    folder = write_visits(tmp_path / "f", steady_visits(), **FULL)
    first = load_folder(ledger, folder, author=ANYBODY)
    assert not first.refused
    assert not first.questions
    assert {c.file: c.added for c in first.tables} == {
        "fleet.toml": 4,
        "vehicles.csv": 1,
        "pump_types.csv": 1,
        "odometers.csv": 1,
        "pumps.csv": 1,
        "visits.csv": 6,
        "services.csv": 2,
        "breakdowns.csv": 1,
        "stock.csv": 1,
        "bays.csv": 2,
        "due_work.csv": 1,
    }
    names = [
        n for (n,) in query(ledger, "SELECT table_name FROM duckdb_tables() WHERE NOT internal ORDER BY 1")
    ]
    before = {n: query(ledger, f"SELECT * FROM {n} ORDER BY ALL") for n in names}
    again = load_folder(ledger, folder, author=ANYBODY)
    assert again.changes == 0
    assert "Nothing new" in again.lines()[-1]
    assert {n: query(ledger, f"SELECT * FROM {n} ORDER BY ALL") for n in names} == before


def test_distances_are_kept_in_km_with_the_entry_beside_them(tmp_path, ledger):
    load_folder(ledger, write_visits(tmp_path / "f", steady_visits(n=1), **ONE_UNIT), author=ANYBODY)
    row = query(ledger, "SELECT odometer_km, odometer_entered, odometer_unit FROM visit")[0]
    assert row == (pytest.approx(40000 * 1.609344), 40000, "mi")
    assert query(ledger, "SELECT fitted_odometer_km FROM pump")[0][0] == pytest.approx(30000 * 1.609344)
    assert query(ledger, "SELECT origin, method_version, mean_a, rpm FROM reading") == [
        ("elsewhere", 0, 5.0, 6000)
    ]


def test_corrected_rows_update_with_a_log_entry(tmp_path, ledger):
    visits = steady_visits()
    load_folder(ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT), author=ANYBODY)
    visits[2] |= {"odometer": 46100, "supply_v": 13.1}
    visits[3]["mean_a"] = 5.5
    report = load_folder(
        ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT), author=Author("Kim", "manager")
    )
    assert (count(report, "visits.csv").changed, count(report, "visits.csv").unchanged) == (2, 4)
    log = query(
        ledger,
        "SELECT table_name, field, old_value, new_value, changed_by, command FROM change_log"
        " ORDER BY change_id",
    )
    assert ("visit", "supply_v", "13.5", "13.1", "Kim", "load") in log
    assert ("visit", "odometer_entered", "46000", "46100", "Kim", "load") in log
    assert {row[1] for row in log} == {"supply_v", "odometer_km", "odometer_entered", "reading"}
    assert query(ledger, "SELECT mean_a FROM visit_detail WHERE visited_on = DATE '2024-10-06'") == [(5.5,)]
    assert query(ledger, "SELECT count(*) FROM visit") == [(6,)]
    assert query(ledger, "SELECT count(*) FROM reading") == [(7,)]  # the old figures stay
    assert load_folder(ledger, tmp_path / "f", author=ANYBODY).changes == 0


def test_blank_cell_erases_nothing(tmp_path, ledger):
    visits = steady_visits(n=2)
    load_folder(ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT), author=ANYBODY)
    for visit in visits:
        visit["supply_v"] = None
    assert load_folder(ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT), author=ANYBODY).changes == 0
    assert query(ledger, "SELECT DISTINCT supply_v FROM visit") == [(13.5,)]


def test_a_correction_made_in_the_ledger_outlives_the_old_folder(tmp_path, ledger):
    folder = write_visits(tmp_path / "f", steady_visits(), **ONE_UNIT)
    load_folder(ledger, folder, author=ANYBODY)
    correct_visit(ledger, 1, {"supply_v": 12.9}, author=ANYBODY, reason="read anew")
    assert load_folder(ledger, folder, author=ANYBODY).changes == 0
    assert query(ledger, "SELECT supply_v FROM visit WHERE visit_id = 1") == [(12.9,)]


BAD = steady_visits(n=3)
BAD[1] = BAD[1] | {"visited_on": "2024-13-40", "supply_v": "high"}


def test_bad_rows_are_named_by_file_row_and_field_and_the_good_ones_go_in(tmp_path, ledger):
    report = load_folder(ledger, write_visits(tmp_path / "f", BAD, **ONE_UNIT), author=ANYBODY)
    assert [(p.file, p.row, p.field) for p in report.refused] == [
        ("visits.csv", 3, "visited_on"),
        ("visits.csv", 3, "supply_v"),
    ]
    assert "'2024-13-40' is not a date" in report.refused[0].sentence()
    assert (count(report, "visits.csv").added, count(report, "visits.csv").refused) == (2, 1)
    assert query(ledger, "SELECT count(*) FROM visit") == [(2,)]


def test_strict_stores_nothing_when_a_row_is_bad(tmp_path, ledger, capsys):
    folder = write_visits(tmp_path / "f", BAD, **ONE_UNIT)
    assert main(["load", str(folder), "--strict", "--ledger", str(ledger)]) == 1
    assert "Nothing was stored" in capsys.readouterr().err
    assert not ledger.exists()
    write_visits(tmp_path / "g", steady_visits(n=2), **ONE_UNIT)
    assert main(["load", str(tmp_path / "g"), "--strict", "--ledger", str(ledger)]) == 0
    before = query(ledger, "SELECT * FROM visit ORDER BY ALL")
    assert main(["load", str(folder), "--strict", "--ledger", str(ledger)]) == 1
    assert query(ledger, "SELECT * FROM visit ORDER BY ALL") == before


def test_dry_run_writes_nothing_and_tells_the_same(tmp_path, ledger):
    folder = write_visits(tmp_path / "f", steady_visits(), **ONE_UNIT)
    dry = load_folder(ledger, folder, dry_run=True, author=ANYBODY)
    assert not ledger.exists()
    assert not dry.stored
    real = load_folder(ledger, folder, author=ANYBODY)
    assert dry.tables == real.tables
    write_visits(folder, steady_visits(n=7), **ONE_UNIT)
    assert load_folder(ledger, folder, dry_run=True, author=ANYBODY).changes == 1
    assert query(ledger, "SELECT count(*) FROM visit") == [(6,)]


def test_exit_one_only_when_nothing_could_be_stored(tmp_path, ledger, capsys):
    folder = write_folder(tmp_path / "f", toml="", visits="unit,visited_on,mean_a\n,2024-01-01,5\nT1,,5")
    assert main(["load", str(folder), "--ledger", str(ledger)]) == 1
    out, err = capsys.readouterr()
    assert "visits.csv row 2, unit: is missing" in out
    assert "visits.csv row 3, visited_on: is missing" in out
    assert err.strip() == "Nothing could be stored."


def test_json_report(tmp_path, ledger, capsys):
    folder = write_visits(tmp_path / "f", BAD, **ONE_UNIT)
    assert main(["load", str(folder), "--json", "--ledger", str(ledger)]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["refused"][0]["row"] == 3
    assert report["stored"] is True
    assert next(t for t in report["tables"] if t["file"] == "visits.csv")["added"] == 2


def test_unknown_columns_are_named_and_optional_ones_may_be_missing(tmp_path, ledger):
    folder = write_folder(tmp_path / "f", visits="Unit , Visited_On, colour\nT1,2024-01-01,red")
    report = load_folder(ledger, folder, author=ANYBODY)
    assert "visits.csv: unknown column 'colour' left out." in report.notices
    assert count(report, "visits.csv").added == 1


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"unit,visited_on\nT1,2024-01-01\nM\x81ller,2024-01-01\n", "row 3 is neither UTF-8"),
        (b"PK\x03\x04rest", "this workbook can't be read"),
        (b"", "is empty"),
        (b"unit,unit,visited_on\nT1,T1,2024-01-01\n", "column 'unit' occurs twice"),
        (b"unit,when\nT1,2024-01-01\n", "column 'visited_on' is missing"),
    ],
)
def test_unreadable_file_is_refused_in_one_sentence_and_the_rest_goes_in(tmp_path, ledger, content, says):
    folder = write_folder(tmp_path / "f", **ONE_UNIT)
    (folder / "visits.csv").write_bytes(content)
    report = load_folder(ledger, folder, author=ANYBODY)
    assert [p.file for p in report.refused] == ["visits.csv"]
    assert says in report.refused[0].text
    assert query(ledger, "SELECT count(*) FROM pump") == [(1,)]


def test_spreadsheet_dialects(tmp_path, ledger):
    folder = write_folder(tmp_path / "f", **ONE_UNIT)
    text = "\ufeffunit;visited_on;odometer;mean_a;supply_v;note\r\n"
    text += 'T1;2024-01-10;40000;5,02;13,5;"two\r\nlines"\r\n\r\n'
    text += "T1;2024-04-09;43000;5,1;58;x;y\r\nT1;2024-07-08;46000;5,1;13.5;\r\n"
    (folder / "visits.csv").write_text(text, encoding="utf-8", newline="")
    report = load_folder(ledger, folder, author=ANYBODY)
    assert query(ledger, "SELECT mean_a FROM visit_detail ORDER BY visited_on") == [(5.02,), (5.1,)]
    assert [(p.row, p.text.split(";")[0]) for p in report.refused] == [
        (4, "has 7 cells where the header has 6"),
    ]


def test_a_cell_may_carry_its_own_unit(tmp_path, ledger):
    folder = write_folder(
        tmp_path / "f",
        visits="unit,visited_on,mean_a,fuel_pressure_kpa,fuel_temp_c\nT1,2024-01-01,5,58 psi,77F",
    )
    load_folder(ledger, folder, author=ANYBODY)
    pressure, temperature = query(ledger, "SELECT fuel_pressure_kpa, fuel_temp_c FROM visit")[0]
    assert pressure == pytest.approx(399.9, abs=0.1)
    assert temperature == pytest.approx(25)


def test_two_rows_of_one_key_that_differ_are_told_apart_by_ref_or_refused(tmp_path, ledger):
    visits = "unit,visited_on,mean_a{}\nT1,2024-01-01,5{}\nT1,2024-01-01,6{}\nT1,2024-01-01,5{}"
    report = load_folder(
        ledger, write_folder(tmp_path / "f", visits=visits.format("", "", "", "")), author=ANYBODY
    )
    assert [(p.row, p.code) for p in report.refused] == [(3, "duplicate-key")]
    other = tmp_path / "other.duckdb"
    report = load_folder(
        other, write_folder(tmp_path / "g", visits=visits.format(",ref", ",a", ",b", ",a")), author=ANYBODY
    )
    assert not report.refused
    assert query(other, "SELECT count(*) FROM visit") == [(2,)]


def test_prime_and_idle_readings_of_one_stop_are_two_visits(tmp_path, ledger):
    folder = write_folder(
        tmp_path / "f", visits="unit,visited_on,state,mean_a\nT1,2024-01-01,prime,4.8\nT1,2024-01-01,idle,5"
    )
    load_folder(ledger, folder, author=ANYBODY)
    assert query(ledger, "SELECT state FROM visit ORDER BY 1") == [("idle",), ("prime",)]
    assert load_folder(ledger, folder, author=ANYBODY).changes == 0


def test_ref_identifies_a_row_whose_key_was_corrected(tmp_path, ledger):
    text = "unit,visited_on,mean_a,ref\nT1,{},5,v1"
    load_folder(ledger, write_folder(tmp_path / "f", visits=text.format("2024-01-01")), author=ANYBODY)
    report = load_folder(
        ledger, write_folder(tmp_path / "f", visits=text.format("2024-01-02")), author=ANYBODY
    )
    assert count(report, "visits.csv").changed == 1
    assert query(ledger, "SELECT visited_on::VARCHAR FROM visit") == [("2024-01-02",)]


def test_costs_and_settings_are_dated_and_change_only_when_different(tmp_path, ledger):
    toml = 'distance_unit = "km"\nreference_supply_v = 13.8\nplanned_replacement = {}\n[cost]\ntow = 300\n'
    load_folder(ledger, write_folder(tmp_path / "f", toml=toml.format(650)), author=ANYBODY)
    load_folder(ledger, write_folder(tmp_path / "f", toml=toml.format(700)), author=ANYBODY)
    settings = query(ledger, "SELECT key, value FROM setting ORDER BY recorded_at, key")
    assert settings == [
        ("distance_unit", '"km"'),
        ("planned_replacement", "650.0"),
        ("reference_supply_v", "13.8"),
        ("planned_replacement", "700.0"),
    ]
    costs = query(ledger, "SELECT element, amount, source FROM cost_entry ORDER BY cost_id")
    assert costs == [
        ("planned_replacement", 650, "fleet.toml"),
        ("tow", 300, "fleet.toml"),
        ("planned_replacement", 700, "fleet.toml"),
    ]


@pytest.mark.parametrize(
    ("toml", "says"),
    [
        ("distance_unit = miles", "fleet.toml can't be read"),
        ('distance_unit = "furlong"', "'furlong' is not 'mi' or 'km'"),
        ('planned_replacement = "dear"', "planned_replacement: 'dear' should be a number"),
        ("planned_replacement = -1", "-1 is impossible"),
        ('time_zone = "Mars"', "is not a time zone"),
    ],
)
def test_bad_fleet_file_is_refused_before_anything_is_stored(tmp_path, ledger, toml, says):
    with pytest.raises(EntryRefused, match=says):
        load_folder(ledger, write_folder(tmp_path / "f", toml=toml, **ONE_UNIT), author=ANYBODY)
    assert not ledger.exists()


def test_missing_folder_and_folder_without_tables(tmp_path, ledger):
    with pytest.raises(EntryRefused, match="There is no folder"):
        load_folder(ledger, tmp_path / "nowhere", author=ANYBODY)
    (tmp_path / "empty").mkdir()
    with pytest.raises(EntryRefused, match="holds no table"):
        load_folder(ledger, tmp_path / "empty", author=ANYBODY)


def test_nothing_is_left_half_stored_when_a_load_breaks_off(tmp_path, ledger, monkeypatch):
    import ingest.fleet_folder.storing

    load_folder(ledger, write_visits(tmp_path / "f", steady_visits(n=2), **ONE_UNIT), author=ANYBODY)

    def broken(*_):
        raise RuntimeError("pulled the plug")

    monkeypatch.setattr(ingest.fleet_folder.storing, "check_levels", broken)
    with pytest.raises(RuntimeError):
        load_folder(ledger, write_visits(tmp_path / "g", steady_visits("T2"), **ONE_UNIT), author=ANYBODY)
    assert query(ledger, "SELECT count(*) FROM visit") == [(2,)]
    assert query(ledger, "SELECT count(*) FROM vehicle") == [(1,)]
