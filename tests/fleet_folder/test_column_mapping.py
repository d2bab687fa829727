"""Tables of other shapes: their columns proposed from headers and cells, kept, gone by, and held against
themselves. The headers here are our own."""

import openpyxl
import pytest

from dashboard.cli import main
from ingest.errors import EntryRefused
from ingest.fleet_folder.confirming import LEFT_OUT, columns_table, confirmed, headers_of, words_table
from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.mapping import as_toml, read_mapping, save_mapping
from ingest.fleet_folder.mending import write_refused
from ingest.fleet_folder.proposing import propose
from ingest.ledger.connection import open_ledger
from tests.authors import ANYBODY
from tests.pages.page_runs import open_page, words

FLEET_LIST = """Our vehicles and the pumps in them
printed 2025-01-05

Wagon;Frame No;Maker;Built;Yard;Pump part no;Pump serial;Batch;Install date;Km in;Colour
201;1FTPR00000000A001;Orrin;2019;East;QP-4;Q1;B7;15.04.2023;41200;white
202;1FTPR00000000A002;Orrin;2020;East;QP-4;Q2;B7;03.05.2023;12000;red
"""
CHECKS = """Test date\tTruck\tMileage (km)\tAmp draw\tPump volts\tPress psi\tKind\tMechanic\tRemarks
2024-01-10\t201\t60000\t5.1\t13.4\t58\tScheduled check\tTK\tquiet
2024-06-10\t201\t72000\t5.3\t13.5\t57\tDriver complaint\tTK\thums
2024-02-11\t202\t30000\t4.9\t13.4\t58\tScheduled check\tJB\t
"""
CALLS = """Asset,Incident date,Odo,Was it the pump,Total cost
201,2024-05-01,43500,Yes,1850
202,2024-07-01,25000,maybe,400
202,2024-08-01,26000,No,200
"""


@pytest.fixture(scope="module")
def proposal(tmp_path_factory):
    """What the files are proposed to hold, looked at once."""
    return propose(write_export(tmp_path_factory.mktemp("looked_at")), "mi")


@pytest.fixture
def folder(tmp_path):
    return write_export(tmp_path)


def write_export(at):
    folder = at / "export"
    folder.mkdir()
    for name, text in (
        ("Fleet list.csv", FLEET_LIST),
        ("pump checks.csv", CHECKS),
        ("road calls.csv", CALLS),
    ):
        (folder / name).write_text(text, encoding="utf-8")
    return folder


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def test_a_proposal_is_kept_and_load_goes_by_it(folder, tmp_path, capsys):
    ledger = tmp_path / "a.duckdb"
    run = ["load", str(folder), "--ledger", str(ledger)]
    assert main(run) == 1
    assert "--propose looks at its files" in capsys.readouterr().err
    assert main([*run, "--propose"]) == 0
    said = capsys.readouterr().out
    for line in (
        "Fleet list.csv, header in row 4 holds vehicles.csv:", "'Frame No', such as 1FTPR00000000A001",
        "Fleet list.csv, header in row 4 holds pumps.csv:", "'Km in' in km, such as 41200",
        "left out: Colour",
        "'Mileage (km)' in km, such as 60000", "'Press psi' in psi, such as 58", "'Scheduled check' is pm",
        "'Driver complaint' is complaint",
    ):  # fmt: skip
        assert line in said, line
    assert not ledger.exists()
    assert main([*run, "--propose", "--save-columns"]) == 0
    assert main([*run, "--propose", "--save-columns"]) == 1
    assert "is there already" in capsys.readouterr().err
    assert main(run) == 0
    assert query(ledger, "SELECT unit, vin, make, year, depot FROM vehicle ORDER BY 1") == [
        ("201", "1FTPR00000000A001", "Orrin", 2019, "East"),
        ("202", "1FTPR00000000A002", "Orrin", 2020, "East"),
    ]  # fmt: skip
    pumps = query(ledger, "SELECT serial, lot, fitted_on::VARCHAR, fitted_odometer_km FROM pump ORDER BY 1")
    assert pumps == [
        ("Q1", "B7", "2023-04-15", 41200), ("Q2", "B7", "2023-05-03", 12000),
    ]  # fmt: skip
    assert query(ledger, "SELECT odometer_km, meter_a, supply_v, round(fuel_pressure_kpa), reason, technician"
                         " FROM visit WHERE unit = '201' ORDER BY visited_on") == [
        (60000, 5.1, 13.4, 400, "pm", "TK"), (72000, 5.3, 13.5, 393, "complaint", "TK"),
    ]  # fmt: skip
    assert query(ledger, "SELECT unit, pump_confirmed FROM breakdown ORDER BY 1") == [
        ("201", "yes"), ("202", "no"),
    ]  # fmt: skip
    mend = tmp_path / "mend"
    assert main([*run, "--refused", str(mend)]) == 0
    mended = mend / "road calls.csv"
    mended.write_text(mended.read_text().replace("maybe", "unknown"), encoding="utf-8")
    assert main(["load", str(mend), "--ledger", str(ledger)]) == 0
    assert query(ledger, "SELECT unit, pump_confirmed FROM breakdown ORDER BY 1, 2") == [
        ("201", "yes"), ("202", "no"), ("202", "unknown"),
    ]  # fmt: skip


def test_what_words_say_alike_or_cells_deny_is_told_and_left_out(tmp_path):
    (tmp_path / "checks.csv").write_text(
        "Unit,Visit date,Odometer,Mileage,RPM\n1,2024-01-02,1000,1000,fast\n2,2024-01-03,2000,2100,slow\n"
    )
    [found] = propose(tmp_path, "mi").tables
    assert found.mapped.columns["odometer"].header == "Odometer"  # the table's own name goes before a word
    assert "rpm" not in found.mapped.columns
    assert found.doubts == ("'RPM' reads like rpm, but its cells don't ('fast')",)
    (tmp_path / "checks.csv").write_text(
        "Unit,Visit date,Mileage,Odo,Volts\n1,2024-01-02,1000,1000,13\n2,2024-01-03,2000,2100,13\n"
    )
    [found] = propose(tmp_path, "mi").tables
    assert "odometer" not in found.mapped.columns
    assert found.doubts[0] == "'Mileage' and 'Odo' may both be odometer; say in columns.toml which is"


@pytest.mark.parametrize(
    ("header", "row", "columns"),
    [
        (
            "Eq #|Svc date|Svc type|Meter|Hrs|Fuel PSI|Batt V",
            '7|2024-01-09|Towed in|23000|1000|58PSI|13.2',
            {"unit": "", "visited_on": "", "reason": "", "odometer": "", "hours": "",
             "fuel_pressure_kpa": "psi", "supply_v": ""},
        ),
        (
            "Autocar;Date;Kilométrage;Type d'intervention;Mécanicien",
            "A1;2024-01-09;89000;révision;lb",
            {"unit": "", "visited_on": "", "odometer": "km", "reason": "", "technician": ""},
        ),
        (
            "Fahrzeug;Datum;km-Stand;Anlass;Prüfer",
            "BH-1;2024-01-09;89000;Störung;HM",
            {"unit": "", "visited_on": "", "odometer": "km", "reason": "", "technician": ""},
        ),
    ],
)  # fmt: skip
def test_headers_of_other_shops_are_known(tmp_path, header, row, columns):
    (tmp_path / "export.txt").write_text(f"{header}\n{row}\n", encoding="utf-8")
    [found] = propose(tmp_path, "mi").tables
    assert {name: source.unit for name, source in found.mapped.columns.items()} == columns
    assert found.doubts == ()


def test_words_that_a_known_header_holds_and_nobody_tells_are_named(tmp_path):
    (tmp_path / "a.csv").write_text(
        "Unit,Visit date,Visit type,Ref,Amps\n1,2024-01-02,zig,a,5\n2,2024-01-03,zag,a,5\n"
    )
    [found] = propose(tmp_path, "mi").tables
    assert not {"reason", "ref"} & set(found.mapped.columns)  # what names two rows alike tells none
    assert (
        "'Visit type' reads like reason, but it can't be told which of pm, follow-up, complaint, road-call,"
        " after-repair 'zig', 'zag' mean"
    ) in found.doubts


GOOD = """[[table]]
file = "pump checks.csv"
holds = "visits.csv"
[table.columns]
unit = "Truck"
visited_on = "Test date"
"""


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        (GOOD + GOOD, "both 'pump checks.csv' and 'pump checks.csv' hold visits.csv"),
        (GOOD.replace("visits.csv", "trips.csv"), "'trips.csv' is no table"),
        (GOOD.replace("pump checks", "gone"), "there is no file 'gone.csv'"),
        (GOOD + 'colour = "Kind"\n', "visits.csv has no column 'colour'"),
        (GOOD + 'reason = { header = "Kind", values = { "x" = "fun" } }\n', "'x' can't mean 'fun'"),
        (GOOD + 'odometer = { header = "Mileage (km)", unit = "psi" }\n', "must be one of km, mi"),
        (GOOD + 'note = { header = "Remarks", unit = "km" }\n', "left out: it has none"),
        ("[[table]\n", "columns.toml can't be read"),
    ],
)
def test_a_mapping_that_contradicts_itself_is_refused_in_a_sentence(folder, toml, said):
    (folder / "columns.toml").write_text(toml, encoding="utf-8")
    with pytest.raises(EntryRefused, match=r"columns\.toml") as refused:
        read_mapping(folder)
    assert said in refused.value.text
    assert refused.value.text.count(". ") == 0


@pytest.mark.parametrize(
    ("toml", "said"),
    [
        (GOOD + 'note = "Gone"\n', "columns.toml names 'Gone' for note; the header has 'Test date', 'Truck'"),
        (
            GOOD + 'odometer = { header = "Remarks", unit = "mi" }\n',
            "'9 km' is in km, but columns.toml has 'Remarks' in mi",
        ),
    ],
)
def test_a_file_that_contradicts_the_mapping_is_refused(folder, tmp_path, toml, said):
    path = folder / "pump checks.csv"
    path.write_text(path.read_text().replace("hums", "9 km"), encoding="utf-8")
    (folder / "columns.toml").write_text(toml, encoding="utf-8")
    report = load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY)
    assert [p.row for p in report.refused if said in p.text] == [3 if "Remarks" in said else 0]


def test_a_table_by_its_own_name_and_by_the_mapping_is_one_too_many(folder):
    (folder / "columns.toml").write_text(GOOD, encoding="utf-8")
    (folder / "visits.csv").write_text("unit,visited_on\n", encoding="utf-8")
    with pytest.raises(EntryRefused, match=r"the folder has visits\.csv and 'pump checks\.csv' is said"):
        read_mapping(folder)


def test_what_is_written_is_read_back(folder, proposal):
    proposed = [one.mapped for one in proposal.tables]
    (folder / "columns.toml").write_text(as_toml(proposed), encoding="utf-8")
    assert list(read_mapping(folder).values()) == proposed


def test_a_proposal_is_put_right_by_a_person_and_read_so(folder, proposal):
    [calls] = [one for one in proposal.tables if one.mapped.file == "road calls.csv"]
    columns, said = columns_table(calls), words_table(calls)
    assert columns["column"].iloc[0] == "unit"
    assert ("pump_confirmed", "maybe", "") in said.itertuples(index=False, name=None)
    assert "Odo" in headers_of(proposal, calls)
    said.loc[said["cell"] == "maybe", "means"] = "unknown"
    columns.loc[columns["column"] == "odometer", "unit"] = "km"
    columns.loc[columns["column"] == "cost", "header"] = LEFT_OUT
    mapped = confirmed(calls, columns, said)
    assert mapped.columns["odometer"].unit == "km"
    assert mapped.columns["pump_confirmed"].values["maybe"] == "unknown"
    assert "cost" not in mapped.columns
    save_mapping([mapped], folder)
    assert read_mapping(folder) == {"breakdowns.csv": mapped}
    save_mapping([mapped], folder, replace=True)
    columns.loc[columns["column"] == "odometer", "unit"] = "V"
    with pytest.raises(EntryRefused, match="odometer: the unit 'V' must be"):
        confirmed(calls, columns, said)


def test_a_file_of_a_tables_name_and_others_columns_is_looked_at(folder):
    for name in ("Fleet list.csv", "pump checks.csv"):
        (folder / name).unlink()
    (folder / "road calls.csv").rename(folder / "breakdowns.csv")
    found = {one.mapped.file: one.mapped.table.file for one in propose(folder, "mi").tables}
    assert found["breakdowns.csv"] == "breakdowns.csv"


def test_the_page_shows_the_proposal_and_keeps_it(folder, tmp_path, monkeypatch):
    monkeypatch.setenv("PUMPLEDGER", str(tmp_path / "a.duckdb"))
    page = open_page("fleet_data", part="Bring in a folder")
    page.text_input(key="folder").set_value(str(folder)).run()
    next(b for b in page.button if b.label == "Columns of other files").click().run()
    assert not page.exception
    assert "pump checks.csv: visits.csv" in words(page)
    next(b for b in page.button if b.label == "Keep them with the folder").click().run()
    assert not page.exception
    assert "Kept in" in words(page)
    assert set(read_mapping(folder)) == {"vehicles.csv", "pumps.csv", "visits.csv", "breakdowns.csv"}


GROUPED = """Job cards

Vehicle no;Day;Km reading;A ripple %;Why
B-17;08.01.24;121000;9,1;Inspection
;09.03.24;128000;9,3;Inspection
;11.05.24;135000;;Complaint
B-18;08.01.24;82000;9,0;Inspection
;09.03.24;89000;9,2;Inspection
Total;5 jobs;;;
"""


def test_rows_under_heads_of_groups_and_years_of_two_digits(tmp_path):
    folder = tmp_path / "cards"
    folder.mkdir()
    (folder / "Job cards.csv").write_text(GROUPED, encoding="utf-8")
    [cards] = propose(folder, "km").tables
    assert cards.mapped.columns["unit"].from_above
    assert cards.mapped.columns["ripple_pct"].header == "A ripple %"  # no amps under a percent sign
    save_mapping([cards.mapped], folder)
    report = load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY, dry_run=True)
    assert {p.text.partition("'")[2][8:] for p in report.refused} >= {
        "' has a year of two digits, which may be its day; write 2026-03-31, or say date_order ="
        ' "day-first" (or "month-first") in fleet.toml'
    }
    (folder / "fleet.toml").write_text('distance_unit = "km"\ndate_order = "day-first"\n', encoding="utf-8")
    report = load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY)
    assert [p.row for p in report.refused] == [9]
    per_unit = "SELECT unit, count(*), min(visited_on)::VARCHAR FROM visit GROUP BY 1 ORDER BY 1"
    found = query(tmp_path / "a.duckdb", per_unit)
    assert found == [("B-17", 3, "2024-01-08"), ("B-18", 2, "2024-01-08")]


def test_refused_rows_of_a_workbook_come_as_a_file_that_loads(tmp_path):
    folder, ledger = tmp_path / "book", tmp_path / "a.duckdb"
    folder.mkdir()
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "Assets"
    for row in (
        ["Fleet"],
        [],
        ["Asset ID", "Make", "Model year"],
        [101, "Orrin", 2019],
        [102, "Orrin", "19?"],
        [103, "Orrin", 2021],
    ):
        sheet.append(row)
    book.create_sheet("Readings").append(["Asset ID", "Read on", "A avg"])
    book["Readings"].append([102, "2024-01-09", 5.1])
    book.save(folder / "our book.xlsx")
    save_mapping([one.mapped for one in propose(folder, "km").tables], folder)
    report = load_folder(ledger, folder, author=ANYBODY)
    [path] = write_refused(folder, report.refused, tmp_path / "mend")
    assert path.name == "our book Assets.csv"
    path.write_text(path.read_text(encoding="utf-8").replace(",19?", ",2020"), encoding="utf-8")
    assert load_folder(ledger, tmp_path / "mend", author=ANYBODY).refused == ()
    years = "SELECT unit, year FROM vehicle ORDER BY 1"
    assert query(ledger, years) == [
        ("101", 2019),
        ("102", 2020),
        ("103", 2021),
    ]  # 102 was there, of no year known


def test_what_no_header_says_is_told_once_for_every_row(folder, proposal, tmp_path):
    checks = next(p.mapped for p in proposal.tables if p.mapped.file == "pump checks.csv")
    (folder / "columns.toml").write_text(as_toml([checks]) + 'state = { everywhere = "idle" }\n')
    mapped = read_mapping(folder)
    assert 'state = { everywhere = "idle" }' in as_toml(mapped.values())
    report = load_folder(tmp_path / "l.duckdb", folder, author=ANYBODY)
    assert query(tmp_path / "l.duckdb", "SELECT DISTINCT state FROM visit") == [("idle",)]
    assert not [n for n in report.notices if "engine state" in n]
    (folder / "columns.toml").write_text(as_toml([checks]))
    report = load_folder(tmp_path / "m.duckdb", folder, author=ANYBODY)
    assert [n for n in report.notices if "3 readings have no engine state" in n]


@pytest.mark.parametrize("said", ['{ everywhere = "parked" }', '{ everywhere = "idle", unit = "km" }'])
def test_what_holds_everywhere_is_a_word_of_its_column(folder, said):
    (folder / "columns.toml").write_text(
        f'[[table]]\nfile = "pump checks.csv"\nholds = "visits.csv"\n[table.columns]\nstate = {said}\n'
    )
    with pytest.raises(EntryRefused, match=r"visits\.csv, state"):
        read_mapping(folder)


def test_a_sheet_a_year_is_one_table(tmp_path):
    folder, ledger = tmp_path / "book", tmp_path / "a.duckdb"
    folder.mkdir()
    book = openpyxl.Workbook()
    book.remove(book.active)
    for year, rows in ((2023, ["x", 5.0]), (2024, [5.1]), (2025, [])):
        sheet = book.create_sheet(str(year))
        for row in [["Asset ID", "Read on", "A avg"]] * bool(rows) + [
            [101, f"{year}-01-09", a] for a in rows
        ]:
            sheet.append(row)
    book.save(folder / "checks.xlsx")
    proposed = propose(folder, "km")
    assert [(one.mapped.table.file, one.mapped.sheet) for one in proposed.tables] == [("visits.csv", None)]
    save_mapping([one.mapped for one in proposed.tables], folder)
    report = load_folder(ledger, folder, author=ANYBODY)
    assert [(p.row, p.field) for p in report.refused] == [(2, "mean_a")]
    assert [note for note in report.notices if "one table" in note] == [
        "visits.csv: its sheets have one header and are one table, rows counted on: '2023' from row 1, "
        "'2024' from row 4."
    ]
    for row in (["Asset ID", "Read on", "A avg"], [101, "2025-01-10", 5.2]):
        book["2025"].append(row)
    book.save(folder / "checks.xlsx")
    load_folder(ledger, folder, author=ANYBODY)
    days = query(ledger, "SELECT visited_on::VARCHAR FROM visit ORDER BY 1")
    assert days == [("2023-01-09",), ("2024-01-09",), ("2025-01-10",)]


JOBS = """Date;Veh. no.;km;Job;Hours;Cost
14.03.2022;12;61200;Fuel pump dead, replaced;2,5;700
20.05.2023;12;88410;new pump fitted (noise);2,0;650
02.06.2023;14;41200;water pump replaced;2,2;400
03.06.2023;14;41300;changed oil and filter, checked fuel pump;1,0;80
15.07.2024;12;131000;PM service;3,0;210
30.09.2024;14;92010;fuel pump R&R;2,5;690
"""


def test_jobs_that_changed_pumps_are_pumps_and_their_hours_no_engines(tmp_path):
    folder = tmp_path / "f"
    folder.mkdir()
    (folder / "job cards.csv").write_text(JOBS, encoding="utf-8")
    (folder / "log.csv").write_text(
        "Unit;Date;Amps\n12;21.06.2023;5,1\n12;21.06.2021;5,2\n", encoding="utf-8"
    )
    proposal = propose(folder, "km")
    told = {one.mapped.table.file: (one.mapped.file, one.rows) for one in proposal.tables}
    assert told == {
        "odometers.csv": ("job cards.csv", None), "pumps.csv": ("job cards.csv", (3, 6)),
        "visits.csv": ("log.csv", None),
    }  # fmt: skip
    assert all("hours" not in one.mapped.columns for one in proposal.tables)
    assert "3 of its 6 rows: those whose 'Job' tells of a changed pump:" in "\n".join(proposal.lines())
    saved = save_mapping([one.mapped for one in proposal.tables], folder)
    assert saved.read_bytes().endswith(b'"\n')
    assert {one.table.file: one.only for one in read_mapping(folder).values()} == {
        one.mapped.table.file: one.mapped.only for one in proposal.tables
    }
    ledger = tmp_path / "a.duckdb"
    load_folder(ledger, folder, author=ANYBODY)
    assert main(["questions", "--kind", "not-removed", "--as", "off-early", "--ledger", str(ledger)]) == 0
    lives = "SELECT unit, fitted_on::VARCHAR, removed_on::VARCHAR, removal, fitted_odometer_km FROM pump"
    assert query(ledger, f"{lives} WHERE fitted_on IS NOT NULL ORDER BY unit, fitted_on") == [
        ("12", "2022-03-14", "2023-05-20", "on_condition", 61200), ("12", "2023-05-20", None, None, 88410),
        ("14", "2024-09-30", None, None, 92010),
    ]  # fmt: skip
    newest = "FROM visit v JOIN pump p USING (pump_id) ORDER BY v.visited_on DESC LIMIT 1"
    assert query(ledger, f"SELECT p.fitted_on::VARCHAR {newest}") == [("2023-05-20",)]
    jobs_alone = tmp_path / "g"
    jobs_alone.mkdir()
    (jobs_alone / "jobs.csv").write_text("\n".join(JOBS.splitlines()[:3]), encoding="utf-8")
    [found] = propose(jobs_alone, "km").tables
    assert (found.mapped.table.file, found.mapped.only) == ("pumps.csv", None)
    mostly = [
        f"{line};{old}"
        for line, old in zip(JOBS.splitlines()[:4], ["Old part", "seized", "", "leaks"], strict=True)
    ]
    (jobs_alone / "jobs.csv").write_text("\n".join(mostly), encoding="utf-8")
    found = next(one for one in propose(jobs_alone, "km").tables if one.mapped.table.file == "pumps.csv")
    assert found.rows == (2, 3)  # the third job renewed another pump
    assert "pump_type" not in found.mapped.columns  # the old part tells of the pump before
