"""A real shop's folder: understood where it can be meant one way only, refused by cause where it can't."""

import csv
import datetime
import json

import pandas as pd
import pytest

from dashboard.cli import main
from ingest.dates import read_dates
from ingest.errors import EntryRefused
from ingest.fleet_folder.cells import read_table
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.report import RowProblem, grouped
from ingest.fleet_folder.sheets import read_sheet
from ingest.fleet_folder.tables import VISITS
from ingest.ledger.connection import open_ledger
from ingest.units import parse_quantity
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import FLEET, ONE_UNIT, write_folder


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def cells(path, data):
    path.write_bytes(data)
    sheet = read_sheet(path, "visits.csv")
    return sheet.cells.drop(columns="file_row").to_numpy().tolist(), [p.row for p in sheet.problems]


@pytest.fixture(scope="module")
def understood(tmp_path_factory):
    """One folder with everything that is understood, loaded."""
    root = tmp_path_factory.mktemp("dirty")
    folder = write_folder(root / "f", toml=FLEET + '"tow truck" = 300\n')
    (folder / "vehicles.csv").write_bytes(
        b"Unit,VIN,In service on,Depot,PM interval\r 101 ,n/a,-,N/A,8046.72 km\r"
    )
    (folder / "Visits.CSV").write_bytes(
        b"Unit,Visited on,Odometer,Zero-checked,Meter A,Supply V,Note\n"
        b"101,2024-03-05,142000 km,Y,4.433,n/a,one\rtwo\n"
        b'101,2024-06-05,89000,FALSE,"4,5",13.1,"he said ""so"""\n'
    )
    report = load_folder(root / "a.duckdb", folder, author=ANYBODY)
    return root, folder, report


def test_what_is_meant_one_way_only_is_understood(understood):
    root, _, report = understood
    assert not report.refused
    ledger = root / "a.duckdb"
    assert query(ledger, "SELECT unit, vin, depot, in_service_on, round(pm_interval_km, 2) FROM vehicle") == [
        ("101", None, None, None, 8046.72)
    ]
    rows = query(
        ledger,
        "SELECT round(odometer_km), odometer_entered, odometer_unit, zero_checked, meter_a, supply_v, note"
        " FROM visit ORDER BY visited_on",
    )
    assert rows == [
        (142000, 142000, "km", "yes", 4.433, None, "one two"),
        (round(89000 * 1.609344), 89000, "mi", "no", 4.5, 13.1, 'he said "so"'),
    ]


def test_a_ledgers_own_export_loads_back_and_changes_nothing(understood):
    root, _, _ = understood
    export_ledger(root / "a.duckdb", root / "out")
    assert '"tow truck" = 300' in (root / "out" / "fleet.toml").read_text(encoding="utf-8")
    again = load_folder(root / "a.duckdb", root / "out", author=ANYBODY)
    assert not again.refused
    assert again.changes == 0
    fresh = load_folder(root / "b.duckdb", root / "out", author=ANYBODY)
    assert not fresh.refused
    kept = "SELECT element, amount FROM cost_entry ORDER BY element"
    assert query(root / "b.duckdb", kept) == query(root / "a.duckdb", kept)


@pytest.mark.parametrize(
    ("data", "rows", "refused"),
    [
        (b"unit,note\rT1,a\rT2,b\r", [["T1", "a"], ["T2", "b"]], []),
        (b"unit,note\nT1,a\rb\nT2,b\n", [["T1", "a b"], ["T2", "b"]], []),
        (b'unit,note\r\nT1,"a\rb"\r\n', [["T1", "a\rb"]], []),
        (b'unit,note\nT1,"never closed\nT2,b\nT3,c\n', [["T2", "b"], ["T3", "c"]], [2]),
        (b'unit,note\nT1,"two\nlines"\nT2,b\n', [["T1", "two\nlines"], ["T2", "b"]], []),
        (b'unit,note\nT1,5" hose\nT2,b\n', [["T1", '5" hose'], ["T2", "b"]], []),
        ("unit;note\nT1;ä\n".encode("utf-16"), [["T1", "ä"]], []),
    ],
)  # fmt: skip
def test_line_ends_and_quotes_cost_no_other_row(tmp_path, data, rows, refused):
    assert cells(tmp_path / "x.csv", data) == (rows, refused)


def test_order_is_decided_for_each_separator_of_a_column():
    read = read_dates(pd.Series(["12/01/2023", "05.12.2023", "25.12.2023"]))
    assert list(read.local_date.dt.strftime("%Y-%m-%d").fillna("")) == ["", "2023-12-05", "2023-12-25"]
    assert read.order == {".": "day-first"}
    assert "no date written so in it tells which" in read.problem[0]
    told = read_dates(pd.Series(["12/01/2023", "05.12.2023"]), order={"/": "month-first", ".": "day-first"})
    assert list(told.local_date.dt.strftime("%Y-%m-%d")) == ["2023-12-01", "2023-12-05"]


def test_a_contradicted_order_is_refused_not_read():
    read = read_dates(pd.Series(["05/06/2023", "25/12/2023", "12/25/2023"]))
    assert "holds dates of both orders" in read.problem[0]
    told = read_dates(pd.Series(["05/06/2023", "25/12/2023"]), order="month-first")
    assert told.local_date.isna()[0]
    assert "'25/12/2023' of the same column is not" in told.problem[0]
    typo = read_dates(pd.Series(["05/06/2023", "13/40/2023"]), order="month-first")
    assert [bool(text) for text in typo.problem] == [False, True]  # no date in either order contradicts none


@pytest.mark.parametrize("bad", ["2026-01-01T25:00", "2026-01-01T10:00+99:00"])
def test_an_impossible_time_refuses_one_row(bad):
    read = read_dates(pd.Series([bad, "2026-01-01T10:00+02:00"]))
    assert "has no such time" in read.problem[0]
    assert (read.problem[1], str(read.utc[1])) == ("", "2026-01-01 08:00:00")


def test_hours_that_a_change_of_clocks_skips_or_repeats_are_read():
    read = read_dates(pd.Series(["2026-03-29T02:30", "2026-10-25T02:30"]), time_zone="Europe/Berlin")
    assert list(read.problem) == ["", ""]
    # EU directive 2000/84: summer time begins and ends at 01:00 UTC on the last Sundays of March and October.
    assert [str(t) for t in read.utc] == ["2026-03-29 01:00:00", "2026-10-25 00:30:00"]


def test_many_refusals_of_one_cause_hide_no_other():
    many = [
        RowProblem("visits.csv", n, "visited_on", "unreadable", f"'{n}/13/13' is not a date")
        for n in range(500)
    ]
    other = RowProblem("visits.csv", 77, "supply_v", "unreadable", "'high' is not a number")
    groups = grouped([*many, other])
    assert [(g.field, len(g.rows)) for g in groups] == [("visited_on", 500), ("supply_v", 1)]
    assert groups[0].sentence() == "visits.csv, visited_on: 500 rows, such as row 0: '0/13/13' is not a date"
    assert groups[1].sentence() == other.sentence()


def test_refused_rows_are_mended_in_files_of_their_own(tmp_path, capsys):
    visits = (
        "unit,visited_on,meter_a\nT1,2024-01-10,5\nT1,2024-13-10,5\nT1,2024-04-10,a,b\nT1,2024-05-10,high"
    )
    folder = write_folder(tmp_path / "f", visits=visits, **ONE_UNIT)
    ledger, mend = tmp_path / "a.duckdb", tmp_path / "mend"
    assert main(["load", str(folder), "--refused", str(mend), "--ledger", str(ledger)]) == 0
    out, err = capsys.readouterr()
    assert out.count("refused:") == 3
    assert f"pumpledger load {mend}" in err
    rows = list(csv.reader((mend / "visits.csv").open(encoding="utf-8")))
    assert rows[0] == ["refused_because", "unit", "visited_on", "meter_a"]
    assert [row[1:] for row in rows[1:]] == [
        ["T1", "2024-13-10", "5"],
        ["T1", "2024-04-10", "a", "b"],
        ["T1", "2024-05-10", "high"],
    ]
    assert "'2024-13-10' is not a date" in rows[1][0]
    mended = [
        rows[0],
        ["", "T1", "2024-03-10", "5"],
        ["", "T1", "2024-04-10", "5.1"],
        ["?", "T1", "2024-05-10", "5"],
    ]
    with (mend / "visits.csv").open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows(mended)
    assert main(["load", str(mend), "--json", "--ledger", str(ledger)]) == 0
    report = json.loads(capsys.readouterr().out)
    assert report["refused"] == []
    assert not [notice for notice in report["notices"] if "refused_because" in notice]
    assert query(ledger, "SELECT count(*) FROM visit") == [(4,)]


def test_workbooks_are_read_as_tables(tmp_path):
    import openpyxl

    folder = write_folder(tmp_path / "f", vehicles="unit\nT1")
    book = openpyxl.Workbook()
    book.active.title = "Notes to self"
    sheet = book.create_sheet("Visits")
    sheet.append(["Unit", "Visited on", "Odometer", "Meter A", "Zero checked"])
    sheet.append(["T1", datetime.date(2024, 1, 10), 40000, 5.125, True])
    sheet.append([None, None, None, None, None])
    sheet.append(["T1", datetime.datetime(2024, 4, 9, 14, 30), "43000 mi", 5, False])
    book.save(folder / "shop.xlsx")
    report = load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY)
    assert not report.refused
    rows = query(
        tmp_path / "a.duckdb",
        "SELECT visited_on::VARCHAR, odometer_entered, meter_a, zero_checked FROM visit ORDER BY 1",
    )
    assert rows == [("2024-01-10", 40000, 5.125, "yes"), ("2024-04-09", 43000, 5, "no")]
    (folder / "shop.xlsx").write_bytes(b"PK\x03\x04 broken")
    (folder / "visits.xlsx").write_bytes(b"PK\x03\x04 broken")
    report = load_folder(tmp_path / "b.duckdb", folder, author=ANYBODY)
    assert [p.sentence() for p in report.refused] == [
        "visits.csv: this workbook can't be read; save the sheet as CSV (UTF-8)."
    ]


@pytest.mark.parametrize(
    ("row", "entry"),
    [
        ("-,2024-01-01,5,,", VisitEntry("-", meter_a=5)),
        ("T1,2024-01-01,101,,", VisitEntry("T1", meter_a=101)),
        ("T1,1850-01-01,5,,", VisitEntry("T1", visited_on=datetime.date(1850, 1, 1), meter_a=5)),
        (f"T1,2024-01-01,5,{'x' * 101},", VisitEntry("T1", meter_a=5, clamp_point="x" * 101)),
        ("T1,2024-01-01,5,,15000000", VisitEntry("T1", meter_a=5, odometer_km=15e6 * 1.609344)),
    ],
)
def test_what_log_refuses_load_refuses(tmp_path, row, entry):
    folder = write_folder(tmp_path / "f", visits=f"unit,visited_on,meter_a,clamp_point,odometer\n{row}")
    assert len(load_folder(tmp_path / "a.duckdb", folder, dry_run=True, author=ANYBODY).refused) == 1
    with pytest.raises(EntryRefused):
        log_visit(tmp_path / "a.duckdb", entry, author=ANYBODY)


@pytest.mark.parametrize(
    ("table", "text", "says"),
    [
        ("pump_types", "pump_type,current_low_a,current_high_a\nP,7,4", "lies above current_high_a"),
        ("visits", "unit,visited_on,probe\nT1,2024-01-01,loud", "'loud' is not a clamp's output"),
    ],
)
def test_what_the_forms_refuse_load_refuses(tmp_path, table, text, says):
    report = load_folder(
        tmp_path / "a.duckdb", write_folder(tmp_path / "f", **{table: text}), dry_run=True, author=ANYBODY
    )
    assert [says in p.text for p in report.refused] == [True]


def test_a_meters_three_decimals_are_a_value():
    assert parse_quantity("4.433", "current", default_unit="A") == 4.433
    assert parse_quantity("4,433 A", "current") == 4.433
    assert parse_quantity("2.758 bar", "pressure") == pytest.approx(275.8)
    assert parse_quantity("88,412 mi", "distance") == pytest.approx(88412 * 1.609344)
    with pytest.raises(EntryRefused, match="leave the thousands mark out"):
        parse_quantity("88.412 km", "distance")


def test_a_point_beside_decimal_commas_parts_thousands_unless_another_does_not(tmp_path):
    folder = write_folder(tmp_path / "f")
    text = "unit;visited_on;odometer;meter_a\nT1;2024-01-01;41.200;5,12\nT1;2024-02-01;42000.5;5,1\n"
    (folder / "visits.csv").write_text(text, encoding="utf-8")
    report = load_folder(tmp_path / "a.duckdb", folder, dry_run=True, author=ANYBODY)
    assert [(p.row, p.field) for p in report.refused] == [(2, "odometer")]
    assert "'41.200' can mean 41200 or 41.200" in report.refused[0].text


@pytest.mark.parametrize(
    ("cells", "km"),
    [("41.200;5", 41_200), ("41.200 km;5", 41_200), ("41.200;5.1", 41.2), ("41200;5", 41_200)],
)
def test_semicolons_go_with_points_that_part_thousands(tmp_path, cells, km):
    (tmp_path / "visits.csv").write_text(f"unit;visited_on;odometer;meter_a\nT1;2024-01-01;{cells}\n")
    read = read_table(tmp_path / "visits.csv", VISITS, distance_unit="km")
    assert read.rows["odometer_km"].tolist() == [km]
