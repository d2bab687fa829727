"""A shop's workbook with merged titles, heads of groups, a row of sums, money and units in cells."""

from datetime import datetime

import openpyxl
import pytest

from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.mapping import save_mapping
from ingest.fleet_folder.mending import refused_files
from ingest.fleet_folder.proposing import propose
from ingest.ledger.connection import open_ledger
from tests.authors import ANYBODY


@pytest.fixture
def folder(tmp_path):
    book = openpyxl.Workbook()
    roster = book.active
    roster.title = "Roster"
    for row in (
        ["Coach roster"], ["as of 11/02/2025"], [], ["Vehicle", None, None, "Fuel pump"],
        ["Coach #", "VIN No.", "Yr", "Part #", "S/N", "Installed", "Odo @ install (mi)"],
        ["C03", None, 2019, "FP-33", "S3", datetime(2023, 4, 2), 40_100],
        ["C04", None, 2020, "FP-33", "S4", datetime(2023, 5, 2), 51_000],
        ["2 vehicles", None, None, None, None, None, 91_100],
    ):  # fmt: skip
        roster.append(row)
    roster.merge_cells("A1:G1")
    roster.merge_cells("A4:C4")
    checks = book.create_sheet("Checks")
    for row in (
        ["Pump amp checks"], [], ["Coach #", "Checked", "Odometer", "Amps", "PSI", "Type of visit", "By"],
        ["C03", datetime(2024, 1, 9), 48_000, "6.2A", 57.7, "PM-A", "jb"],
        ["C04", datetime(2024, 1, 9), 58_000, "N/T", 58, "Driver write-up", "jb"],
    ):  # fmt: skip
        checks.append(row)
    book.create_sheet("Plates").append(["Coach #", "Plate"])
    book["Plates"].append(["C03", "XY 1"])
    calls = book.create_sheet("Road calls")
    for row in (["Date", "Coach", "Pump?", "Tow $"], ["07/14/2024", "C03", "Y", "$1,150.00"]):
        calls.append(row)
    (tmp_path / "book").mkdir()
    book.save(tmp_path / "book" / "our shop book.xlsx")
    return tmp_path / "book"


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def test_a_shops_workbook_comes_in_as_proposed(folder, tmp_path):
    proposal = propose(folder, "mi")
    assert {one.mapped.table.file: one.mapped.header_row for one in proposal.tables} == {
        "vehicles.csv": 5, "pumps.csv": 5, "visits.csv": 3, "breakdowns.csv": 1,
    }  # fmt: skip
    assert [line.split(":")[0] for line in proposal.strange] == ["our shop book.xlsx, sheet Plates"]
    save_mapping([one.mapped for one in proposal.tables], folder)
    ledger = tmp_path / "a.duckdb"
    report = load_folder(ledger, folder, author=ANYBODY)
    assert [p.sentence() for p in report.refused] == [
        f"{file} row 8, unit: '2 vehicles' reads like a row of sums, not a unit; take it out"
        for file in ("vehicles.csv", "pumps.csv")
    ]
    assert any("cost has the sign $; amounts are taken in the fleet's currency" in n for n in report.notices)
    pumps = "SELECT unit, year, pump_type, serial, round(fitted_odometer_km / 1.609344)"
    assert query(ledger, f"{pumps} FROM vehicle JOIN pump USING (unit) ORDER BY 1") == [
        ("C03", 2019, "FP-33", "S3", 40_100), ("C04", 2020, "FP-33", "S4", 51_000),
    ]  # fmt: skip
    assert query(ledger, "SELECT meter_a, round(fuel_pressure_kpa), reason FROM visit ORDER BY unit") == [
        (6.2, 398, "pm"), (None, 400, "complaint"),
    ]  # fmt: skip
    assert query(ledger, "SELECT cost, pump_confirmed FROM breakdown") == [(1150, "yes")]
    written = refused_files(folder, report.refused)["our shop book Roster.csv"].decode().splitlines()
    assert written[1].count("row of sums") == 1  # two tables stand in the row, one sentence says it
