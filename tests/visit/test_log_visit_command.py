"""`pumpledger log` as a technician types it."""

import json

import numpy as np
import pytest

from dashboard.cli import main
from ingest.ledger.connection import open_ledger


@pytest.fixture
def capture_file(tmp_path):
    """A tenth of a second of eight slightly unlike segments at 6,000 rpm, with an off stretch in front."""
    t = np.arange(-500, 5000) / 50_000
    turn = t * 100
    segment = np.floor(turn * 8).astype(int) % 8
    heights = np.array([0.30, 0.28, 0.31, 0.29, 0.33, 0.27, 0.30, 0.26])
    amps = np.where(t < 0, 0.0, 5 + heights[segment] * np.abs(np.sin(np.pi * turn * 8)))
    amps = amps + np.random.default_rng(2).normal(0, 0.01, len(t))
    path = tmp_path / "bay 2.csv"
    lines = [f"{a:.6f},{b:.3f}" for a, b in zip(t, amps, strict=True)]
    path.write_text("Time (s),Current (A)\n" + "\n".join(lines) + "\n")
    return path


@pytest.fixture
def log(tmp_path, capsys):
    ledger = tmp_path / "fleet.duckdb"

    def run(*words):
        code = main(["log", "--ledger", str(ledger), *map(str, words)])
        return code, *capsys.readouterr()

    run.ledger = ledger
    return run


@pytest.fixture
def log_in_fleet(log):
    """A fleet is known already, so a new unit may be a slip for another."""
    with open_ledger(log.ledger, read_only=False) as con:
        con.execute("INSERT INTO vehicle (unit, recorded_at) VALUES ('9001', now()::TIMESTAMP)")
    return log


def test_what_runs_by_the_hour_is_logged_by_its_hours(log):
    words = ["--unit", "GEN1", "--meter-a", 4.2, "--date", "2026-05-01"]
    code, _, err = log(*words)
    assert code == 1
    assert "--odometer is missing" in err
    code, _, err = log(*words, "--hours", 1450)
    assert code == 0, err
    with open_ledger(log.ledger) as con:
        assert con.execute("SELECT hours, odometer_km FROM visit").fetchall() == [(1450.0, None)]


def test_a_capture_is_asked_about_stored_shown_and_known_again(log_in_fleet, capture_file):
    log = log_in_fleet
    words = [
        capture_file,
        "--unit",
        "007",
        "--odometer",
        "88412 mi",
        "--supply-v",
        "13.6",
        "--date",
        "2026-03-02",
    ]
    words += [
        "--fuel-pressure",
        "58 psi",
        "--fuel-temp",
        "77F",
        "--delivery",
        "1.2 L/min",
        "--done",
        "filter",
    ]
    code, out, err = log(*words)
    assert (code, out) == (1, "")
    assert "Unit 007 is not in the ledger" in err
    assert "--confirm unit-new=yes" in err
    code, out, err = log(*words, "--confirm", "unit-new=first visit", "--confirm", "date-old=catching up")
    assert (code, err) == (0, "")
    assert "Stored as visit 1 of unit 007." in out
    assert "average" in out
    assert "next test" in out
    assert "action" in out
    code, out, _ = log(*words)
    assert code == 0
    assert "already in the ledger as visit 1" in out
    with open_ledger(log.ledger) as con:
        row = con.execute(
            "SELECT odometer_km, odometer_entered, fuel_pressure_kpa, fuel_temp_c,"
            " delivery_l_min, supply_v FROM visit"
        ).fetchall()[0]
    # 1 mi = 1.609344 km and 1 psi = 6.894757 kPa: NIST SP 811, appendix B
    assert row == pytest.approx((142_285.32, 88412, 58 * 6.894757, 25.0, 1.2, 13.6), rel=1e-6)


def test_a_meter_reading_as_json(log_in_fleet):
    log = log_in_fleet
    words = ["--meter-a", "5.2", "--unit", "214", "--odometer", "142000 km", "--json"]
    code, out, _ = log(*words)
    assert code == 1
    assert json.loads(out)["questions"][0]["code"] == "unit-new"
    code, out, _ = log(*words, "--confirm", "unit-new=first")
    found = json.loads(out)
    assert code == 0
    assert found["stored"] is True
    assert found["confirmed"] == ["unit-new"]
    assert {"rule", "text", "next_test", "action"} <= set(found["verdict"])


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--meter-a", "5", "--odometer", "88412"], "'88412' has no unit"),
        (["--meter-a", "5", "--odometer", "88412 psi"], "not a unit of distance"),
        (["--meter-a", "5", "--odometer", "1 mi", "--date", "03/02/2026"], "write it like 2026-03-31"),
        (["--meter-a", "5", "--odometer", "1 mi", "--fuel-temp", "25"], "--fuel-temp: '25' has no unit"),
        (["gone.csv", "--odometer", "1 mi"], "gone.csv"),
    ],
)
def test_an_entry_that_cannot_be_is_one_sentence(log, words, sentence):
    code, out, err = log("--unit", "214", *words)
    assert (code, out) == (1, "")
    assert sentence in err
    assert len(err.strip().splitlines()) == 1
    assert not log.ledger.exists()


def test_a_capture_and_a_meter_at_once_or_neither_is_usage(log, capture_file):
    both = (capture_file, "--meter-a", "5"), "one of the two"
    for words, said in (both, ((), "or what a check found")):
        code, _, err = log("--unit", "214", "--odometer", "1 mi", *words)
        assert code == 2
        assert said in err


@pytest.mark.parametrize(
    ("option", "value", "sentence"),
    [
        ("--segments", "0", "number of bars"),
        ("--segments", "8.5", "number of bars"),
        ("--previous-rpm", "0", "revolutions a minute"),
        ("--previous-rpm", "nan", "revolutions a minute"),
        ("--previous-rpm", "fast", "revolutions a minute"),
    ],
)
def test_bars_and_speeds_that_no_pump_has_are_usage(log, capture_file, capsys, option, value, sentence):
    with pytest.raises(SystemExit) as usage:
        log("--unit", "214", "--odometer", "1 mi", capture_file, option, value)
    assert usage.value.code == 2
    err = capsys.readouterr().err
    assert f"argument {option}: '{value}'" in err
    assert sentence in err


def test_what_the_options_say_of_the_pump_is_judged_by_and_kept(log, capture_file):
    """A pulsed pump of no known type: told once, the next visit is asked for its duty as well."""
    told = ["--motor", "brushed", "--supply", "pwm", "--poles", "4", "--segments", "8"]
    first = [capture_file, "--unit", "7", "--odometer", "9000 km", "--date", "2026-03-02", *told]
    code, out, _ = log(*first, "--duty-pct", "60", "--confirm", "date-old=late", "--json")
    assert (code, json.loads(out)["verdict"]["rule"]) == (0, "reduced-command")
    later = ["--meter-a", "2.6", "--unit", "7", "--odometer", "9100 km", "--date", "2026-03-09"]
    code, out, _ = log(*later, "--confirm", "date-old=late", "--json")
    assert (code, json.loads(out)["verdict"]["rule"]) == (0, "duty-unknown")
    with open_ledger(log.ledger) as con:
        kept = con.execute("SELECT motor, supply, poles, segments FROM visit ORDER BY visit_id").fetchall()
    assert kept == [("brushed", "pwm", 4, 8)] * 2
