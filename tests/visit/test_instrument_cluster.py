"""A replaced instrument cluster: what comes after it counts on, whoever enters it."""

from datetime import date

import pytest

from dashboard.data import changes
from ingest.author import Author
from ingest.errors import EntryRefused
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.visit.instrument_cluster import driven_km, replace_cluster
from ingest.visit.pump_lives import record_breakdown, record_service
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits

REPLACED = date(2024, 12, 20)
MILE = 1.609344


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


@pytest.fixture
def ledger(tmp_path):
    """One unit with four visits at 40,000 to 49,000 mi, the last on 2024-10-06."""
    load_folder(
        tmp_path / "fleet.duckdb",
        write_visits(tmp_path / "f", steady_visits(n=4), **ONE_UNIT),
        author=ANYBODY,
    )
    return tmp_path / "fleet.duckdb"


def test_a_replaced_cluster_settles_the_questions_it_raised(tmp_path):
    ledger = tmp_path / "fleet.duckdb"
    visits = steady_visits(n=8)
    for i, visit in enumerate(visits[4:]):
        visit["odometer"] = 500 + 3_000 * i
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    load_folder(ledger, folder, author=ANYBODY)
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(4,)]
    mile = 1.609344
    assert (
        replace_cluster(
            ledger, "T1", on=date(2024, 12, 20), old_km=51_500 * mile, author=Author("Kim", "manager")
        )
        == 4
    )
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(0,)]
    used = query(ledger, f"SELECT round(odometer_km / {mile}) FROM visit ORDER BY visited_on")
    assert [km for (km,) in used] == [40_000, 43_000, 46_000, 49_000, 52_000, 55_000, 58_000, 61_000]
    again = load_folder(ledger, folder, author=ANYBODY)
    assert again.changes == 0
    assert not again.questions


def test_other_entries_after_it_count_on_too(ledger):
    record_service(ledger, "T1", "filter", on=date(2025, 1, 5), odometer_km=900, author=ANYBODY)
    record_service(ledger, "T1", "wiring", on=date(2024, 9, 1), odometer_km=75_000, author=ANYBODY)
    record_breakdown(
        ledger, "T1", on=REPLACED, odometer_km=3, author=ANYBODY
    )  # that very day, on the new instrument
    assert (
        replace_cluster(ledger, "T1", on=REPLACED, old_km=82_000, new_km=2, author=Author("Kim", "manager"))
        == 2
    )
    assert query(ledger, "SELECT work, odometer_km FROM service ORDER BY 1") == [
        ("filter", 82_898), ("wiring", 75_000)
    ]  # fmt: skip
    assert query(ledger, "SELECT odometer_km FROM breakdown") == [(82_001,)]
    logged = query(
        ledger,
        "SELECT table_name, old_value, new_value, changed_by FROM change_log"
        " WHERE command = 'replace-cluster' ORDER BY table_name",
    )
    assert logged == [
        ("breakdown", "3", "82001", "Kim"), ("odometer", None, "2", "Kim"), ("service", "900", "82898", "Kim")
    ]  # fmt: skip


def test_a_second_new_cluster_counts_on_from_the_first(ledger):
    replace_cluster(ledger, "T1", on=REPLACED, old_km=82_000, author=ANYBODY)
    again = date(2025, 6, 1)
    # No visit lies between the two: what the first new cluster ran to is known from this entry alone.
    replace_cluster(ledger, "T1", on=again, old_km=9_000, author=ANYBODY)
    assert driven_km(ledger, "T1", date(2024, 12, 1), 81_000) == 81_000
    assert driven_km(ledger, "T1", date(2025, 2, 1), 3_000) == 85_000
    assert driven_km(ledger, "T1", date(2025, 7, 1), 1_000) == 92_000


def test_a_corrected_visit_counts_on(ledger):
    replace_cluster(ledger, "T1", on=date(2024, 9, 1), old_km=47_000 * MILE, author=ANYBODY)
    [(visit_id,)] = query(ledger, "SELECT max(visit_id) FROM visit")
    changes.correct_odometer(ledger, visit_id, "1500 mi", "read off the picture", ANYBODY)
    stored = query(ledger, f"SELECT odometer_km, odometer_entered FROM visit WHERE visit_id = {visit_id}")
    assert stored == [(pytest.approx(48_500 * MILE), 1_500)]


@pytest.mark.parametrize(
    ("how", "says"),
    [
        ({"unit": "T9"}, "Unit T9 is not in the ledger; check its number."),
        ({"old_km": 70_000}, "Unit T1 had 78,858 km on 2024-10-06 already"),
        ({"new_km": 90_000}, "begins at 90,000 km, above the old one's last 82,000 km; are they swapped?"),
        ({"new_km": 82_000}, "the count goes on by itself, there is nothing to record."),
    ],
)
def test_what_cannot_be_is_refused(ledger, how, says):
    with pytest.raises(EntryRefused) as refused:
        replace_cluster(ledger, **({"unit": "T1", "on": REPLACED, "old_km": 82_000} | how), author=ANYBODY)
    assert says in refused.value.text
    assert query(ledger, "SELECT count(*) FROM odometer") == [(0,)]


def test_one_replacement_is_recorded_once(ledger):
    replace_cluster(ledger, "T1", on=REPLACED, old_km=82_000, author=ANYBODY)
    with pytest.raises(EntryRefused, match="is on record for 2024-12-20 already"):
        replace_cluster(ledger, "T1", on=REPLACED, old_km=82_000, author=ANYBODY)
