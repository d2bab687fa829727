"""An export loaded into an empty ledger gives the plan and the costs of the ledger that wrote it."""

from datetime import date

import pandas as pd
import pytest

from analytics import plan
from analytics.cost_review.facts import read_facts
from analytics.money.cost_book import read_costs
from ingest.fleet_folder.export import export_ledger
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.ledger.rows import insert_row
from ingest.ledger.settings import set_setting
from ingest.visit.corrections import withdraw_visit
from tests.authors import ANYBODY
from tests.ledger_fixture import build_ledger

PRICES = [
    ("tow", 900.0, None, "North", date(2024, 6, 1)), ("tow", 500.0, None, None, date(2024, 1, 1)),
    ("tow", 700.0, None, None, date(2026, 1, 1)),
    ("failure_replacement", 2500.0, "ambulance", None, date(1900, 1, 1)),
]  # fmt: skip
WRITTEN = {
    "cost_entry": "element, amount, currency, class, depot, valid_from, source, confirmed, set_by",
    "setting": "key, value, valid_from, set_by",
}


def load(ledger, folder):
    return load_folder(ledger, folder, author=ANYBODY, today=date(2026, 11, 25))


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    """Prices of one depot and one class, settings and prices that changed on a day, a visit withdrawn."""
    path = build_ledger(tmp_path_factory.mktemp("whole") / "fleet.duckdb")
    with open_ledger(path, read_only=False) as con:
        for element, amount, kind, depot, day in PRICES:
            row = {"element": element, "amount": amount, "currency": "USD", "class": kind, "depot": depot}
            insert_row(con, "cost_entry", row | {"valid_from": day, "source": "=a bill", "confirmed": True})
    for share, day in ((0.9, date(2025, 3, 1)), (0.8, date(2025, 9, 1))):
        set_setting(path, "plan_service_level", share, author=ANYBODY, reason="x", valid_from=day)
    withdraw_visit(path, 7, author=ANYBODY, reason="another van")
    export_ledger(path, path.with_name("out"))
    return path


def rows(ledger):
    with open_ledger(ledger) as con:
        return {
            name: con.execute(f"SELECT {columns} FROM {name} ORDER BY ALL").fetchall()
            for name, columns in WRITTEN.items()
        }


def figures(ledger):
    made = plan(ledger)
    return [made.lines, made.checks, made.waiting, made.unplaced, made.parts, made.bays, read_facts(ledger)]


def prices(ledger):
    places = [("van", "South"), ("van", "North"), ("ambulance", "South")]
    return [read_costs(ledger, date(2025, 7, 1)).prices(*place) for place in places]


def test_plan_and_costs_are_those_of_the_ledger_that_wrote_it(ledger, tmp_path):
    new = tmp_path / "new.duckdb"
    assert load(new, ledger.with_name("out")).refused == ()
    assert rows(new) == rows(ledger)
    assert prices(new) == prices(ledger)
    assert len({str(price) for price in prices(ledger)}) == 3
    for theirs, ours in zip(figures(ledger), figures(new), strict=True):
        theirs, ours = (
            table.drop(columns=[c for c in table if c.endswith(("_id", "job_number"))])
            for table in (theirs, ours)
        )
        # distances are written with six decimals of a mile
        pd.testing.assert_frame_equal(theirs, ours, rtol=1e-7, check_dtype=False)
    again = load(new, ledger.with_name("out"))
    assert (again.changes, again.notices) == (0, ())


def test_what_cannot_be_a_setting_or_price_is_refused_and_a_changed_fleet_toml_is_named(ledger, tmp_path):
    folder = tmp_path / "out"
    export_ledger(ledger, folder)
    for name, column, value in (("setting", "value", '"much"'), ("cost_entry", "amount", "-5")):
        table = pd.read_csv(folder / "ledger" / f"{name}.csv", dtype=str)
        table.loc[0, column] = value
        table.to_csv(folder / "ledger" / f"{name}.csv", index=False)
    toml = folder / "fleet.toml"
    toml.write_text(toml.read_text().replace("tow = 700.0", "tow = 701.0\nmissed_job = 9.0"))
    report = load(tmp_path / "new.duckdb", folder)
    assert {(p.file, p.row, p.field) for p in report.refused} == {
        ("ledger/setting.csv", 2, "value"), ("ledger/cost_entry.csv", 2, "amount"),
    }  # fmt: skip
    told, records = report.notices
    assert told.partition("; ")[2] == "others there: tow."
    assert "nobody said since when every pump change is on record" in records
    kept = {(row[0], row[1]) for row in rows(tmp_path / "new.duckdb")["cost_entry"]}
    assert {("tow", 700.0), ("missed_job", 9.0)} <= kept
