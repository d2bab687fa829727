"""What nobody can have meant gets one sentence that repeats nothing at length, and nothing is stored."""

import io
import json
import sqlite3
import unicodedata
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import fields

import pytest

from dashboard.cli import main
from ingest.errors import EntryRefused, PumpledgerError, for_reading
from ingest.fleet_folder.loading import load_folder
from ingest.fleet_folder.tables import VISITS
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import set_setting
from ingest.trade_numbers import DEFAULTS
from ingest.typed import NUMBERS
from ingest.visit.entry import VisitEntry
from ingest.visit.logging_visit import log_visit
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv

NAN, INF = float("nan"), float("inf")


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("absurd") / "fleet.duckdb", fitted=True)


@pytest.fixture(scope="module")
def capture(tmp_path_factory):
    return write_capture_csv(tmp_path_factory.mktemp("absurd") / "c.csv", small_capture())


def visits(ledger):
    with open_ledger(ledger) as con:
        return con.execute("SELECT count(*) FROM visit").fetchall()


def say(*arguments):
    """Run a command; returns its exit code and what it said on stderr."""
    out, err = io.StringIO(), io.StringIO()
    with redirect_stdout(out), redirect_stderr(err):
        try:
            code = main([str(argument) for argument in arguments])
        except SystemExit as ended:
            code = ended.code
    assert len(out.getvalue()) + len(err.getvalue()) < 5_000
    assert "\x1b" not in out.getvalue() + err.getvalue()
    return code, err.getvalue()


TYPED = {
    "fuel-level-pct": ("-5", "1e308", "nan", "inf", "-inf"),
    "hours": ("-5", "nan", "inf", "1e308"),
    "duty-pct": ("900", "nan", "-1"),
    "supply-v": ("nan", "1e308", "-1", "0 mi", "99999"),
    "fuel-pressure": ("inf psi", "-3 psi", "9e9 psi"),
    "fuel-temp": ("1e308C", "nan", "9999 C", "-300 C"),
    "drop-supply-v": ("99", "nan"),
    "delivery": ("-1 L/min", "nan L/min", "900 L/min"),
    "date": ("9999-12-31", "0001-01-01", "²", "2026-02-31"),
    "technician": ("x" * 100_000, "\x1b[31mred", "a\x07b", "a\r\nb"),
    "position": ("p" * 300,),
    "clamp": ("c" * 100_000,),
    "clamp-point": ("t" * 100_000, "\x1b]0;title\x07"),
    "odometer": ("nan", "inf km", "-5 km", "1e308 mi", "1e20", "²", "99999999999 km", "\x1b]0;x\x07"),
    "unit": ("", " ", "u" * 300, "u" * 100_000, "\x1b[2J", "\x9b2J", "\udcff", "a\x00b", "a\u202eb", "a\nb"),
}


@pytest.mark.parametrize(("option", "value"), [(name, v) for name, values in TYPED.items() for v in values])
def test_an_option(ledger, capture, option, value):
    before = visits(ledger)
    given = {"unit": "101", "odometer": "150000 km"} | {option: value}
    options = [f"--{name}={said}" for name, said in given.items()]
    code, said = say("log", capture, *options, "--ledger", ledger)
    assert code in (1, 2)
    assert said.strip()
    assert value == "" or value not in said or len(value) < 80
    assert visits(ledger) == before


@pytest.mark.parametrize("value", [NAN, INF, -INF, 1e308, -1e308])
@pytest.mark.parametrize("name", NUMBERS)
def test_a_number_of_a_visit(ledger, name, value):
    before = visits(ledger)
    entry = VisitEntry("101", **{"meter_a": 5.0, "odometer_km": 150_000.0} | {name: value})
    with pytest.raises(EntryRefused, match=f"{name}.*impossible"):
        log_visit(ledger, entry, author=ANYBODY)
    assert visits(ledger) == before


@pytest.mark.parametrize(
    "name", [f.name for f in fields(VisitEntry) if "str" in str(f.type) and f.name != "done"]
)
@pytest.mark.parametrize("value", ["x" * 100_000, "a\x1b[31m", "\ud800", "a\x00"])
def test_a_text_of_a_visit(ledger, name, value):
    before = visits(ledger)
    entry = VisitEntry(**{"unit": "101", "meter_a": 5.0, "odometer_km": 150_000.0} | {name: value})
    with pytest.raises(EntryRefused) as refused:
        log_visit(ledger, entry, author=ANYBODY)
    assert len(refused.value.text) < 300
    assert visits(ledger) == before


OF_A_CELL = {
    "number": ("nan", "inf", "-1e308", "1e308", "²", "x" * 100_000),
    "text": ("x" * 100_000, "\x1b[31m"),
    "id": ("x" * 300, "\x1b[31m"),
    "date": ("9999-12-31", "0001-01-01", "0000-00-00", "x" * 100_000),
    "distance": ("-5", "nan", "1e308"),
    "choice": ("x" * 100_000,),
}


def test_cells_of_a_fleet_folder(tmp_path):
    """Each absurd cell of each column of visits.csv keeps its own row out, and the sound row is stored."""
    rows = [
        {column.name: value}
        for column in VISITS.columns
        if column.name != "capture"
        for value in OF_A_CELL.get(column.kind, ())
    ]
    names = ["unit", "visited_on", "odometer", "mean_a", *sorted({n for row in rows for n in row})]
    names = list(dict.fromkeys(names))
    sound = {"unit": "214", "visited_on": "2026-01-02", "odometer": "1000", "mean_a": "5"}
    lines = [",".join(str((sound | row).get(name, "")) for name in names) for row in [{}, *rows]]
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "vehicles.csv").write_text("unit\n214\n")
    (folder / "visits.csv").write_text(",".join(names) + "\n" + "\n".join(lines) + "\n", encoding="utf-8")
    report = load_folder(tmp_path / "l.duckdb", folder, author=ANYBODY)
    with open_ledger(tmp_path / "l.duckdb") as con:
        assert con.execute("SELECT count(*) FROM visit").fetchall() == [(1,)]
    told = {problem.row for problem in report.refused}
    assert told == set(range(3, len(rows) + 3))
    assert all(len(problem.text) < 2_500 for problem in report.refused)


FLEET_FILES = {
    "volts of nothing": "reference_supply_v = 0",
    "not a number": "ripple_limit_pct = nan",
    "infinite": "planned_replacement = inf",
    "below nothing": "idle_hour_miles = -1",
    "huge": "failure_replacement = 1e308",
    "a share above 1": "plan_shared_share = 7",
    "nested deeply": "x = " + "[" * 100_000,
    "nested tables": "reference_supply_v = {a = {b = {c = 1}}}",
    "inside": "clamps = {blue = {pct = nan}}",
    "a bare date": 'closed_days = {"" = [2026-12-25]}',
    "long": f'currency = "{"x" * 100_000}"',
    "codes": 'currency = "\\u001b[31m"',
}


@pytest.mark.parametrize("text", FLEET_FILES.values(), ids=FLEET_FILES)
def test_a_fleet_file(tmp_path, text):
    (tmp_path / "fleet.toml").write_text(text)
    (tmp_path / "vehicles.csv").write_text("unit\n214\n")
    with pytest.raises(PumpledgerError) as refused:
        load_folder(tmp_path / "l.duckdb", tmp_path, author=ANYBODY)
    assert len(refused.value.text) < 500
    assert "\x1b" not in refused.value.text


@pytest.mark.parametrize("value", [NAN, INF, -INF, 1e308, -1.0])
@pytest.mark.parametrize("key", [key for key, v in DEFAULTS.items() if type(v) in (int, float)])
def test_a_setting(ledger, key, value):
    if value == -1.0 and key.endswith("_c"):  # a temperature
        return
    with pytest.raises(EntryRefused, match=key):
        set_setting(ledger, key, value, author=ANYBODY, reason="absurd")


ASKED = (
    ("plan", "--days", "1e20"), ("plan", "--days", "99999999999"), ("plan", "--days", "nan"),
    ("plan", "--days", "-1"), ("plan", "--as-of", "9999-12-31"), ("rank", "--as-of", "9999-12-31"),
    ("rank", "--as-of", "0001-01-01"), ("rank", "--within", "1e308 mi"), ("rank", "--within", "nan"),
    ("rank", "--within", "-5 mi"), ("cost", "--as-of", "9999-12-31"), ("serve", "--port", "²"),
    ("analyse", "\x1b[31m.csv"), ("load", "\x1b[31m"), ("nothing\x1b[31m",),
    ("clamp", "--study", "x" * 5_000), ("add", "unit", "999", "--by", "x" * 5_000),
    ("add", "unit", "999", "--by", "\x1b[31mred"), ("add", "unit", "9\n9"), ("rank", "--" + "x" * 100_000),
    ("questions", "--most", "-1"), ("questions", "--number", "-1"), ("questions", "--as", ""),
    ("labels", ""), ("labels", "/dev/null/x"), ("labels", "."),
)  # fmt: skip


@pytest.mark.parametrize("arguments", ASKED)
def test_a_command(ledger, arguments):
    code, said = say(*arguments, *(("--ledger", ledger) if len(arguments) > 1 else ()))
    assert code in (1, 2)
    assert said.strip()


@pytest.mark.parametrize("command", ["rank", "check", "log", "backup", "export", "reanalyse", "serve"])
@pytest.mark.parametrize(
    "kind", ["folder", "sqlite", "text", "long", "device", "nowhere", "codes", "not UTF-8", "null", "circle"]
)
def test_a_ledger_that_is_none(tmp_path, capture, command, kind):
    path = tmp_path / "l.duckdb"
    if kind == "folder":
        path.mkdir()
    elif kind == "sqlite":
        connection = sqlite3.connect(path)
        connection.execute("CREATE TABLE a (b)")
        connection.commit()
        connection.close()
    elif kind == "text":
        path.write_text("unit,odometer\n")
    elif kind == "circle":
        path.symlink_to(path)
    else:
        path = {
            "long": tmp_path / ("n" * 300), "device": "/dev/null",
            "nowhere": tmp_path / "nowhere" / "l.duckdb",
            "codes": tmp_path / "none\x1b[31m" / "l.duckdb", "not UTF-8": tmp_path / "a\udcff.duckdb",
            "null": "l\x00.duckdb",
        }[kind]  # fmt: skip
    more = {"log": [capture, "--unit=1", "--odometer=5 km"], "export": [tmp_path / "out"]}.get(command, [])
    code, said = say(command, *more, "--ledger", path)
    assert code in (1, 2)
    assert said.strip()
    assert not (tmp_path / "out").exists()
    assert kind != "nowhere" or not path.parent.exists()


def test_composed_and_decomposed_letters_are_one(tmp_path):
    ledger = tmp_path / "l.duckdb"
    composed = unicodedata.normalize("NFC", "Größe-7")
    decomposed = unicodedata.normalize("NFD", composed)
    assert composed != decomposed
    for km, unit in ((1000.0, composed), (1100.0, decomposed)):
        log_visit(
            ledger, VisitEntry(unit, meter_a=5.0, odometer_km=km, technician=unit), None, None,
            {"unit-new": "new", "second-meter-reading": "again"}, author=ANYBODY,
        )  # fmt: skip
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "vehicles.csv").write_text(f"unit,depot\n{decomposed},{decomposed}\n", encoding="utf-8")
    load_folder(ledger, folder, author=ANYBODY)
    with open_ledger(ledger) as con:
        assert con.execute("SELECT unit, depot FROM vehicle").fetchall() == [(composed, composed)]
        assert con.execute("SELECT DISTINCT technician FROM visit").fetchall() == [(composed,)]


def test_sentences_repeat_neither_codes_nor_pages():
    said = for_reading("'\x1b[31m" + "x" * 100_000 + "' is none. " + "word " * 10_000)
    assert len(said) < 2_100
    assert "\x1b" not in said
    assert for_reading("As it is,\nof two lines.") == "As it is,\nof two lines."
    assert json.dumps(said)
