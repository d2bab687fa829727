"""What a loaded folder leaves in doubt is stored, marked and asked; a correction closes the question."""

from datetime import date

import pandas as pd
import pytest

from dashboard.cli import main
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.visit.settling import settle_questions
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import FLEET, ONE_UNIT, steady_visits, write_folder, write_visits

TODAY = date(2026, 11, 25)


@pytest.fixture
def ledger(tmp_path):
    return tmp_path / "fleet.duckdb"


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def load(ledger, folder):
    return load_folder(ledger, folder, today=TODAY, author=ANYBODY)


def codes(report):
    return [(q.file, q.row, q.field, q.code) for q in report.questions]


def test_a_doubted_odometer_is_stored_out_of_trend_and_returns_when_corrected(tmp_path, ledger):
    visits = steady_visits(n=8)
    visits[3]["odometer"] = round(49_000 * 1.609)
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    report = load(ledger, folder)
    assert codes(report) == [("visits.csv", 5, "odometer", "odometer-kilometres")]
    assert next(t for t in report.tables if t.file == "visits.csv").questioned == 1
    doubted = "SELECT visited_on, in_trend, odometer_entered FROM visit WHERE NOT in_trend"
    assert len(query(ledger, doubted)) == 1
    assert query(ledger, "SELECT status, code, unit FROM question") == [("open", "odometer-kilometres", "T1")]

    again = load(ledger, folder)
    assert again.changes == 0
    assert codes(again) == codes(report)
    assert query(ledger, "SELECT count(*) FROM question") == [(1,)]

    visits[3]["odometer"] = 49_000
    assert not load(ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT)).questions
    assert query(ledger, doubted) == []
    assert query(ledger, "SELECT status FROM question") == [("corrected",)]


def test_a_question_a_person_has_answered_is_not_asked_again(tmp_path, ledger):
    visits = steady_visits(n=8)
    visits[7]["odometer"] = 120_000
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    load(ledger, folder)
    with open_ledger(ledger, read_only=False) as connection:
        connection.execute(
            "UPDATE question SET status = 'confirmed', answer = 'a long trip', answered_at = now()::TIMESTAMP"
        )
        connection.execute("UPDATE visit SET in_trend = TRUE")
    load(ledger, folder)
    assert query(ledger, "SELECT status FROM question") == [("confirmed",)]
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(0,)]


def test_odometers_of_other_tables_are_asked_about_by_row_and_field(tmp_path, ledger):
    tables = ONE_UNIT | {
        "odometers": "unit,read_on,odometer\nT1,2024-02-01,40700\nT1,2024-05-20,447000",
        "services": "unit,done_on,odometer,work\nT1,2024-07-08,28584,filter",
        "pumps": "unit,pump_type,fitted_on,fitted_odometer\nT1,P1,2023-06-01,300000",
    }
    report = load(ledger, write_visits(tmp_path / "f", steady_visits(n=8), **tables))
    assert [(q.file, q.row, q.field) for q in report.questions] == [
        ("odometers.csv", 3, "odometer"),
        ("pumps.csv", 2, "fitted_odometer"),
        ("services.csv", 2, "odometer"),
    ]
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(0,)]
    [(fitted,)] = query(ledger, "SELECT question_id FROM question WHERE table_name = 'pump'")
    settle_questions(ledger, [fitted], "value", "", ANYBODY, command="test")
    assert query(ledger, "SELECT round(fitted_odometer_km / 1.609344) FROM pump") == [(30_000,)]
    assert load(ledger, tmp_path / "f").changes == 0


def test_questions_alone_exit_zero_even_with_strict(tmp_path, ledger):
    visits = steady_visits(n=8)
    visits[3]["odometer"] = 4_900
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    assert main(["load", str(folder), "--strict", "--ledger", str(ledger)]) == 0
    assert query(ledger, "SELECT count(*) FROM visit") == [(8,)]


def test_units_named_nowhere_else_are_added_with_a_question(tmp_path, ledger):
    tables = {k: v for k, v in ONE_UNIT.items() if k != "pumps"}
    visits = [*steady_visits(n=3), *steady_visits("t-1", n=3), *steady_visits("X9", n=3)]
    report = load(ledger, write_visits(tmp_path / "f", visits, **tables))
    asked = {q.code: q for q in report.questions if q.field == "unit"}
    assert "Is it unit T1, or a new one?" in next(q.text for q in report.questions if "Unit t-1" in q.text)
    assert set(asked) == {"unknown-unit"}
    implied = [q for q in report.questions if q.code == "implied-pump"]
    assert len(implied) == 3  # one a unit, not one a visit
    assert query(ledger, "SELECT count(*), count(fitted_on) FROM pump") == [(3, 0)]
    assert query(ledger, "SELECT count(*) FROM visit WHERE in_trend") == [(9,)]
    assert load(ledger, tmp_path / "f").changes == 0


def test_an_implied_pump_becomes_the_recorded_one(tmp_path, ledger):
    tables = {k: v for k, v in ONE_UNIT.items() if k != "pumps"}
    load(ledger, write_visits(tmp_path / "f", steady_visits(n=3), **tables))
    report = load(ledger, write_visits(tmp_path / "f", steady_visits(n=3), **ONE_UNIT))
    assert query(ledger, "SELECT serial, fitted_on::VARCHAR FROM pump") == [("S1", "2023-06-01")]
    assert not report.questions
    assert query(ledger, "SELECT DISTINCT status FROM question WHERE code = 'implied-pump'") == [
        ("corrected",)
    ]


PUMPS = (
    "unit,pump_type,serial,fitted_on,fitted_odometer,removed_on,removed_odometer,removal,found,cause,claim\n"
    "T1,P1,S1,2023-06-01,30000,2024-07-08,46000,failed,worn,dirty fuel,C-17\n"
    "T1,P1,S2,2024-07-08,46000,,,,,,"
)


def test_reading_at_the_change_belongs_to_the_pump_taken_off(tmp_path, ledger):
    visits = steady_visits(n=5)
    visits.append(visits[2] | {"reason": "after-repair", "mean_a": 4.7})
    visits.append(visits[4] | {"serial": "S2", "visited_on": "2024-07-08", "odometer": 46001, "mean_a": 4.8})
    load(ledger, write_visits(tmp_path / "f", visits[:6], **(ONE_UNIT | {"pumps": PUMPS})))
    rows = query(
        ledger, "SELECT serial, mean_a FROM visit_detail WHERE visited_on = DATE '2024-07-08' ORDER BY 2"
    )
    assert rows == [("S2", 4.7), ("S1", 5.02)]
    rows = query(ledger, "SELECT serial, count(*) FROM visit_detail GROUP BY 1 ORDER BY 1")
    assert rows == [("S1", 3), ("S2", 3)]
    lives = query(ledger, "SELECT serial, removal, found, cause, claim FROM pump ORDER BY serial")
    assert lives == [("S1", "failed", "worn", "dirty fuel", "C-17"), ("S2", None, None, None, None)]


def test_a_serial_decides_at_the_change(tmp_path, ledger):
    visits = [v | {"serial": "S2"} if i == 2 else v for i, v in enumerate(steady_visits(n=5))]
    load(ledger, write_visits(tmp_path / "f", visits, **(ONE_UNIT | {"pumps": PUMPS})))
    rows = query(ledger, "SELECT serial FROM visit_detail WHERE visited_on = DATE '2024-07-08'")
    assert rows == [("S2",)]


def test_two_positions_share_the_distance(tmp_path, ledger):
    pumps = (
        "unit,position,pump_type,run_share,fitted_on,fitted_odometer\n"
        "T1,left,P1,0.5,2023-06-01,40000\nT1,right,P1,0.5,2023-06-01,40000"
    )
    visits = [v | {"position": p} for v in steady_visits(n=3) for p in ("left", "right")]
    load(ledger, write_visits(tmp_path / "f", visits, **(ONE_UNIT | {"pumps": pumps})))
    rows = query(ledger, "SELECT position, max(distance_on_pump_km) FROM visit_detail GROUP BY 1 ORDER BY 1")
    assert rows == [("left", pytest.approx(3000 * 1.609344)), ("right", pytest.approx(3000 * 1.609344))]


def test_a_moved_pump_goes_on_with_its_distance(tmp_path, ledger):
    pumps = (
        "unit,pump_type,serial,fitted_on,fitted_odometer,removed_on,removed_odometer,removal\n"
        "T1,P1,S1,2023-06-01,30000,2024-07-08,46000,other\nT2,P1,S1,2024-08-01,1000,,,"
    )
    load(ledger, write_folder(tmp_path / "f", **(ONE_UNIT | {"vehicles": "unit\nT1\nT2", "pumps": pumps})))
    rows = query(
        ledger,
        "SELECT b.prior_distance_km, b.continues_pump_id = a.pump_id FROM pump a, pump b"
        " WHERE a.unit = 'T1' AND b.unit = 'T2'",
    )
    assert rows == [(pytest.approx(16_000 * 1.609344), True)]
    assert load(ledger, tmp_path / "f").changes == 0


@pytest.mark.parametrize(
    ("pumps", "code"),
    [
        ("T1,P1,S1,2023-06-01,2024-07-08,failed\nT1,P1,S2,2024-06-01,,", "lives-overlap"),
        ("T1,P1,S1,2023-06-01,,\nT1,P1,S2,2024-06-01,,", "not-removed"),
        ("T1,P1,S1,2023-06-01,,\nT2,P1,S1,2024-06-01,,", "serial-twice"),
        ("T1,P7,S1,2023-06-01,,", "unknown-pump-type"),
        ("T1,P1,S1,2023-06-01,,failed", "removal-undated"),
        ("T1,P1,S1,2023-06-01,2022-06-01,failed", "removed-before-fitted"),
    ],
)
def test_lives_that_cannot_all_be_true(tmp_path, ledger, pumps, code):
    pumps = "unit,pump_type,serial,fitted_on,removed_on,removal\n" + pumps
    folder = write_folder(tmp_path / "f", **(ONE_UNIT | {"vehicles": "unit\nT1\nT2", "pumps": pumps}))
    assert [q.code for q in load(ledger, folder).questions] == [code]


def test_unknown_fitting_date_and_type_are_allowed_and_told(tmp_path, ledger):
    report = load(ledger, write_folder(tmp_path / "f", **(ONE_UNIT | {"pumps": "unit,serial\nT1,S1"})))
    assert not report.questions
    assert "pumps.csv: 1 pump has no fitting date; age unknown." in report.notices
    assert query(ledger, "SELECT pump_type, fitted_on FROM pump") == [("unknown", None)]


def test_a_list_of_units_after_one_of_jobs_tells_of_the_pumps_in_service(tmp_path, ledger):
    jobs = "unit,fitted_on,cost\nT1,2023-05-02,412\nT2,2023-05-03,"
    fleet = ONE_UNIT | {"vehicles": "unit\nT1\nT2", "pump_types": "pump_type\nP1\nP2"}
    report = load(ledger, write_folder(tmp_path / "jobs", **(fleet | {"pumps": jobs})))
    assert any(
        text.startswith("pumps.csv: 1 pump has a cost and did not come off;") for text in report.notices
    )
    types = "unit,pump_type\nT1,P1\nT2,P2"
    assert not load(ledger, write_folder(tmp_path / "list", **(fleet | {"pumps": types}))).questions
    pumps = "SELECT unit, pump_type, fitted_on::VARCHAR FROM pump ORDER BY unit"
    assert query(ledger, pumps) == [("T1", "P1", "2023-05-02"), ("T2", "P2", "2023-05-03")]
    # A pump of another type can't be that one: two in one place, whichever table told of it last.
    other = load(ledger, write_folder(tmp_path / "other", **(fleet | {"pumps": "unit,pump_type\nT1,P2"})))
    assert [q.code for q in other.questions] == ["not-removed"]


def test_visit_between_two_lives_or_outside_its_pumps_is_asked(tmp_path, ledger):
    pumps = PUMPS.replace("S2,2024-07-08,46000", "S2,2024-10-01,48500")
    visits = [*steady_visits(n=3), steady_visits(n=3)[2] | {"visited_on": "2024-08-01", "odometer": 46_500}]
    visits.append(steady_visits(n=3)[0] | {"serial": "S2", "odometer": 40_001})
    report = load(ledger, write_visits(tmp_path / "f", visits, **(ONE_UNIT | {"pumps": pumps})))
    assert [q.code for q in report.questions] == ["between-pumps", "outside-pump-life"]
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(2,)]
    [(first,)] = query(ledger, "SELECT pump_id FROM pump WHERE serial = 'S1'")
    [(between,)] = query(ledger, "SELECT question_id FROM question WHERE code = 'between-pumps'")
    settle_questions(ledger, [between], f"pump:{first}", "", ANYBODY, command="test")
    assert query(ledger, f"SELECT count(*) FROM visit WHERE in_trend AND pump_id = {first}") == [(4,)]
    again = load(ledger, tmp_path / "f")
    assert (again.changes, len(query(ledger, "SELECT 1 FROM question WHERE status = 'open'"))) == (0, 1)


def test_a_new_cluster_counts_on_from_the_old_one(tmp_path, ledger):
    visits = steady_visits(n=8)
    for i, visit in enumerate(visits[4:]):
        visit["odometer"] = 500 + 3_000 * i
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    report = load(ledger, folder)
    assert {q.code for q in report.questions} == {"odometer-restarted"}
    odometers = "unit,read_on,odometer,source\nT1,2024-12-20,51500,reading\nT1,2024-12-20,0,cluster-replaced"
    write_visits(tmp_path / "f", visits, **(ONE_UNIT | {"odometers": odometers}))
    report = load(ledger, folder)
    assert not report.questions
    rows = query(ledger, "SELECT odometer_km / 1.609344, odometer_entered FROM visit ORDER BY visited_on")
    assert [round(used) for used, _ in rows[3:6]] == [49_000, 52_000, 55_000]
    assert rows[4][1] == 500
    assert load(ledger, folder).changes == 0


def test_a_probe_factor_of_ten_and_future_dates_are_asked(tmp_path, ledger):
    visits = steady_visits(n=5)
    visits[2]["mean_a"] = 50.2
    visits[4]["visited_on"] = "2062-01-04"
    report = load(ledger, write_visits(tmp_path / "f", visits, **ONE_UNIT))
    assert {("visits.csv", 4, "mean_a", "probe-factor"), ("visits.csv", 6, "visited_on", "future-date")} <= {
        *codes(report)
    }
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(2,)]


def test_values_in_another_unit_are_asked_and_held_until_the_right_one_is_taken(tmp_path, ledger):
    visits = [v | {"fuel_pressure_kpa": 400, "delivery_l_min": 1.6} for v in steady_visits(n=8)]
    visits[2] |= {"rpm": 60_000}
    visits[3] |= {"rpm": 100, "fuel_pressure_kpa": 58}
    visits[4] |= {"delivery_l_min": 95, "fuel_pressure_kpa": 4.0}
    visits[5] |= {"supply_v": 13.6, "supply_v_at": "pump", "drop_supply_v": 13.4}
    folder = write_visits(tmp_path / "f", visits, **ONE_UNIT)
    report = load(ledger, folder)
    assert sorted(codes(report)) == [
        ("visits.csv", 4, "rpm", "speed-unit"),
        ("visits.csv", 5, "fuel_pressure_kpa", "pressure-unit"),
        ("visits.csv", 5, "rpm", "speed-unit"),
        ("visits.csv", 6, "delivery_l_min", "delivery-unit"),
        ("visits.csv", 6, "fuel_pressure_kpa", "pressure-unit"),
        ("visits.csv", 7, "drop_supply_v", "drop-across"),
    ]
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT in_trend") == [(4,)]
    for (question,) in query(ledger, "SELECT question_id FROM question WHERE status = 'open'"):
        settle_questions(ledger, [question], "value", "", ANYBODY, command="test")
    shown = query(
        ledger,
        "SELECT rpm, round(fuel_pressure_kpa), round(delivery_l_min, 1), drop_supply_v, in_trend"
        " FROM visit_detail ORDER BY visited_on",
    )
    usual = (6000.0, 400.0, 1.6, None, True)
    assert shown == [usual] * 8
    again = load(ledger, folder)
    assert (again.changes, again.questions) == (0, ())


def test_a_wrong_clock_is_asked_about_once(tmp_path, ledger):
    visits = [v for k in range(10) for v in steady_visits(f"T{k}", n=4)]
    folder = write_visits(tmp_path / "f", visits, vehicles="unit\n" + "\n".join(f"T{k}" for k in range(10)))
    report = load_folder(ledger, folder, today=date(2024, 5, 1), author=ANYBODY)
    assert not [q for q in report.questions if q.code == "future-date"]
    assert any("is the computer's clock right?" in notice for notice in report.notices)


def test_times_are_kept_in_utc_with_the_local_date(tmp_path, ledger):
    toml = FLEET + 'time_zone = "America/Denver"\n'
    visits = "unit,visited_on,mean_a\nT1,2026-03-04T23:30:00-05:00,5\nT1,2026-06-04 22:00,5\nT1,2026-07-04,5"
    load(ledger, write_folder(tmp_path / "f", toml=toml, visits=visits))
    rows = query(ledger, "SELECT visited_on::VARCHAR, visited_at::VARCHAR, time_zone FROM visit ORDER BY 1")
    assert rows == [
        ("2026-03-04", "2026-03-05 04:30:00", "-05:00"),
        ("2026-06-04", "2026-06-05 04:00:00", "America/Denver"),
        ("2026-07-04", None, None),
    ]


def test_vins_and_units_that_are_nearly_anothers(tmp_path, ledger):
    vehicles = (
        "unit,vin\n007,1M8GDM9AXKP042788\n7,\nT1,1M8GDM9AXKP042787\nT2,WAUZZZ8K9BA012345\n"
        "T3,11111111111111111\nT4,11111111111111111\nJun-08,\n1.00E+12,\n8-Jun,\nA-12,"
    )
    report = load(ledger, write_folder(tmp_path / "f", vehicles=vehicles))
    asked = {(q.row, q.code) for q in report.questions}
    assert asked == {
        (3, "similar-unit"),
        (4, "vin-check-digit"),
        (4, "similar-vin"),
        (7, "same-vin"),
        *((row, "mangled-identifier") for row in (8, 9, 10)),  # a spreadsheet's doing
    }
    assert "unit 007" in next(q.text for q in report.questions if q.code == "similar-vin")
    assert query(ledger, "SELECT count(*) FROM vehicle") == [(10,)]
    assert any("1 VINs from outside North America" in notice for notice in report.notices)


def test_another_unit_that_fits_is_named(tmp_path, ledger):
    visits = steady_visits(n=6) + [
        v | {"mean_a": 6.4, "rpm": 6600} for v in steady_visits("T2", n=6, start=90_000)
    ]
    visits[3] = visits[9] | {"unit": "T1", "odometer": visits[9]["odometer"] + 5}
    tables = ONE_UNIT | {"vehicles": "unit\nT1\nT2"}
    report = load(ledger, write_visits(tmp_path / "f", visits, **tables))
    text = next(q.text for q in report.questions if q.code.startswith("odometer"))
    assert "Unit T2 was at this reading then" in text


def test_hours_stand_beside_distance(tmp_path, ledger):
    vehicles = "unit,clock,pm_interval,pm_interval_hours\nT1,hours,7500,250"
    pumps = "unit,pump_type,fitted_on,fitted_hours\nT1,P1,2023-06-01,1000"
    visits = "unit,visited_on,hours,mean_a\nT1,2024-01-01,1250,5"
    load(
        ledger,
        write_folder(tmp_path / "f", **(ONE_UNIT | {"vehicles": vehicles, "pumps": pumps}), visits=visits),
    )
    assert query(ledger, "SELECT hours_on_pump, clock FROM visit_detail") == [(250, "hours")]
    assert query(ledger, "SELECT pm_interval_km, pm_interval_hours FROM vehicle") == [
        (pytest.approx(12070.08), 250)
    ]


def test_the_demo_of_a_clean_fleet_raises_no_question(tmp_path, ledger):
    visits = pd.DataFrame([v for k in range(30) for v in steady_visits(f"T{k}", n=8, start=20_000 + 977 * k)])
    vehicles = "unit\n" + "\n".join(f"T{k}" for k in range(30))
    pumps = "unit,pump_type,fitted_on\n" + "\n".join(f"T{k},P1,2022-01-01" for k in range(30))
    folder = write_visits(
        tmp_path / "f", visits.to_dict("records"), **(ONE_UNIT | {"vehicles": vehicles, "pumps": pumps})
    )
    assert load(ledger, folder).questions == ()


def test_two_visits_entered_for_each_other_weeks_apart_are_asked_about_where_their_currents_agree(tmp_path):
    days = [f"202{3 + at // 4}-{1 + 3 * (at % 4):02d}-05" for at in range(8)]
    rows = [
        f"{unit},{day},{start + 3_000 * at},{mean_a}"
        for unit, start, mean_a in (("A", 40_000, 5.0), ("B", 64_000, 6.0))
        for at, day in enumerate(days)
        if at != 6
    ]
    swapped = ["A,2024-07-05,82000,6.02", "B,2024-07-23,58200,5.01"]
    visits = "\n".join(["unit,visited_on,odometer,mean_a", *rows, *swapped])
    folder = write_folder(tmp_path / "f", vehicles="unit\nA\nB", visits=visits,
                          pumps="unit,serial,fitted_on\nA,P1,2022-01-01\nB,P2,2022-01-01")  # fmt: skip
    codes = [q.code for q in load_folder(tmp_path / "a.duckdb", folder, author=ANYBODY).questions]
    assert codes == ["other-unit", "other-unit"]
    (folder / "visits.csv").write_text(visits.replace("6.02", "5.5"), encoding="utf-8")
    codes = [q.code for q in load_folder(tmp_path / "b.duckdb", folder, author=ANYBODY).questions]
    assert "other-unit" not in codes


def test_a_unit_under_a_new_number_is_offered_the_one_it_goes_on_from(tmp_path):
    rows = [
        f"{unit},2023-{1 + 2 * at:02d}-05,{start + 3_000 * at}"
        for unit, start, visits in (
            ("A", 40_000, range(6)),
            ("B", 64_000, range(3)),
            ("917", 64_000, (3, 4, 5)),
        )
        for at in visits
    ]
    folder = write_folder(
        tmp_path / "f", vehicles="unit\nA\nB", visits="\n".join(["unit,visited_on,odometer", *rows]),
        pumps="unit,serial,fitted_on\nA,P1,2022-01-01\nB,P2,2022-01-01",
    )  # fmt: skip
    ledger = tmp_path / "a.duckdb"
    report = load_folder(ledger, folder, author=ANYBODY)
    [asked] = [q for q in report.questions if q.code == "unknown-unit"]
    assert "goes on where unit B's ends: is it unit B under a new number" in asked.text
    with open_ledger(ledger) as connection:
        [(number,)] = connection.execute(
            "SELECT question_id FROM question WHERE code = 'unknown-unit'"
        ).fetchall()
    settle_questions(ledger, [number], "unit", "", ANYBODY, command="test")
    with open_ledger(ledger) as connection:
        assert connection.execute("SELECT unit, count(*) FROM visit GROUP BY 1 ORDER BY 1").fetchall() == [
            ("A", 6), ("B", 6),
        ]  # fmt: skip
        assert connection.execute("SELECT count(*) FROM vehicle").fetchall() == [(2,)]


def test_since_when_all_changes_are_on_record_is_asked_where_failures_depend_on_it(tmp_path, ledger):
    lives = "unit,serial,fitted_on,removed_on,removal\nT1,A,2022-01-01,2023-05-01,failed\nT1,B,2023-05-01,,\n"
    told = {"vehicles": "unit,depot\nT1,East side\nT2,Eastside\nT3,North", "pumps": lives}
    folder = write_visits(tmp_path / "f", steady_visits(n=2), **told)
    notices = load(ledger, folder).notices
    assert [n for n in notices if n.startswith("'East side', 'Eastside': is that one depot?")]
    asked = [n for n in notices if "failures are of pumps that no visit saw" in n]
    assert [n.split(" failures")[0] for n in asked] == ["1 of 1"]
    assert 'records_from = { everywhere = "2023-05-01" }' in asked[0]
    (folder / "vehicles.csv").write_text("unit,records_from\nT1,2022-01-01\n")
    assert not [n for n in load(ledger, folder).notices if "no visit saw" in n]
