"""A workshop's tables in its own language, letters and numbers, by what the program itself says. Headers are
our own words."""

import pytest

from dashboard.cli import main
from ingest.fleet_folder.column_words import CELLS, HEADERS, folded
from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.proposing import propose
from ingest.ledger.connection import open_ledger
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import write_folder

FLEET = """Fzg-Nr.;FIN;Baujahr;Standort;Kraftstoffpumpe;Eingebaut am
31;zzpl292xv53atm602;2019;Nord;KP-2;
32;zzpl1bk9e6zwft7r7;2020;Süd;KP-2;
"""
VISITS = """Fahrzeug;Datum;km-Stand;Anlass;Strom (A);Druck;Bemerkung
31;05.02.2024;60.741 km;Inspektion;4,98;3,8 bar;läuft ruhig
32;03/14/2024;65.583;Reklamation;5,35;3,9 bar;k.A.
31;25.06.2024;40.000 mi;Wartung;5,10;3,8 bar;
31;25.09.2024;k.A.;Wartung;5,10;3,8 bar;
32;25.09.2024;81.583;Panne;5,31;3,9 bar;
32;25.09.2024;81.583;Panne;5,31;3,9 bar;
"""


@pytest.fixture
def folder(tmp_path):
    folder = tmp_path / "werkstatt"
    folder.mkdir()
    (folder / "Fuhrpark.csv").write_bytes(FLEET.replace("\n", "\r\n").encode("cp1252"))
    (folder / "Messwerte.csv").write_bytes(VISITS.replace("\n", "\r").encode("utf-8-sig"))
    return folder


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def test_a_german_folder_comes_in_by_following_the_messages(folder, tmp_path, capsys):
    ledger = tmp_path / "a.duckdb"
    run = ["load", str(folder), "--ledger", str(ledger)]
    assert main([*run, "--propose", "--save-columns"]) == 0
    assert main([*run, "--refused", str(tmp_path / "mend")]) == 0
    said = capsys.readouterr().out
    for line in (
        "note: fleet.toml is not in the folder; distances are in km, as the headers say.",
        "note: vehicles.csv: row 3 is not UTF-8 and was read as Windows-1252 ('Süd'); if it is not, save as",
        "note: visits.csv: odometer '60.741 km' is read as 60741 km, as other numbers have decimal commas.",
        "refused: visits.csv row 4, odometer: '40.000 mi' is in mi, but columns.toml has 'km-Stand' in km",
    ):  # fmt: skip
        assert line in said, line
    assert query(ledger, "SELECT vin, year, depot, pump_type FROM vehicle JOIN pump USING (unit)"
                         " ORDER BY unit") == [
        ("zzpl292xv53atm602", 2019, "Nord", "KP-2"), ("zzpl1bk9e6zwft7r7", 2020, "Süd", "KP-2"),
    ]  # fmt: skip
    assert main([*run, "--dry-run"]) == 0  # into a ledger that is there, too
    assert "odometers are taken in" not in capsys.readouterr().out
    visits = "SELECT unit, visited_on::VARCHAR, odometer_km, reason, meter_a, note FROM visit ORDER BY 2, 1"
    assert query(ledger, visits) == [
        ("31", "2024-02-05", 60741, "pm", 4.98, "läuft ruhig"),
        ("32", "2024-03-14", 65583, "complaint", 5.35, None),
        ("31", "2024-09-25", None, "pm", 5.1, None),
        ("32", "2024-09-25", 81583, "road-call", 5.31, None),
    ]
    mended = tmp_path / "mend" / "Messwerte.csv"
    text = mended.read_text(encoding="utf-8")
    mended.write_text(text.replace(",40.000 mi,", ",64.374 km,"), encoding="utf-8")
    assert main(["load", str(tmp_path / "mend"), "--ledger", str(ledger)]) == 0
    assert query(ledger, "SELECT odometer_km FROM visit WHERE visited_on = DATE '2024-06-25'") == [(64374,)]


def test_an_exact_duplicate_is_the_same_row(folder, tmp_path):
    mapping = {one.mapped.table.file: one.mapped for one in propose(folder, "mi").tables}
    report = load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY, mapping=mapping)
    [visits] = [t for t in report.tables if t.file == "visits.csv"]
    assert (visits.rows, visits.added, visits.changed, visits.unchanged, visits.refused) == (6, 4, 0, 1, 1)


@pytest.mark.parametrize(
    ("header", "row", "column"),
    [
        ("Vehículo;Fecha;Kilometraje;Amperaje;Técnico", "7;2024-01-05;81000;5,1;LM", "technician"),
        ("Véhicule;Date de visite;Kilométrage;Courant;Mécanicien", "7;2024-01-05;81000;5,1;LM", "technician"),
        ("Wagennummer;Prüfdatum;Tachostand;Stromaufnahme;Kürzel", "7;2024-01-05;81000;5,1;LM", "technician"),
    ],
)
def test_headers_of_other_languages_are_proposed(tmp_path, header, row, column):
    (tmp_path / "x.csv").write_text(f"{header}\n{row}\n{row.replace('01-05', '02-05')}\n", encoding="utf-8")
    [found] = propose(tmp_path, "km").tables
    assert found.mapped.table.file == "visits.csv"
    assert set(found.mapped.columns) == {"unit", "visited_on", "odometer", "meter_a", column}


def test_words_are_kept_as_they_are_compared():
    words = [phrase for phrases in HEADERS.values() for phrase in phrases]
    words += [phrase for values in CELLS.values() for phrases in values.values() for phrase in phrases]
    assert [word for word in words if folded(word) != word] == []


def test_letters_of_no_known_kind_are_refused(tmp_path):
    folder = write_folder(tmp_path / "f")
    (folder / "visits.csv").write_bytes(b"unit,visited_on\nT1,2024-01-01\nM\x81ller,2024-01-01\n")
    report = load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY, dry_run=True)
    assert "row 3 is neither UTF-8 nor Windows-1252" in report.refused[0].text
