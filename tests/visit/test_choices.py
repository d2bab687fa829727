"""What a question offers settles it by a tap; a bare yes never stores the error."""

import inspect
from dataclasses import fields
from datetime import date

import pytest

from dashboard.cli import main
from dashboard.parts.settling import WHOLE
from dashboard.views.log_visit.saving import BOX_OF
from ingest.errors import EntryRefused, Question
from ingest.fleet_folder.loading import load_folder
from ingest.ledger.connection import open_ledger
from ingest.ledger.upkeep import check_ledger
from ingest.visit.choices import choices, choices_of, meant_by_yes, settled_by
from ingest.visit.corrections import withdraw_visit
from ingest.visit.entry import VisitEntry
from ingest.visit.settling import offered, settle_questions
from ingest.wording import odometer_questions, questions, unit_questions
from ingest.wording.sentence import codes
from tests.authors import ANYBODY
from tests.fleet_folder.fleet_folders import ONE_UNIT, steady_visits, write_visits
from tests.ledger_fixture import build_ledger
from tests.pages.page_runs import open_page, words

MILE = 1.609344


def query(ledger, sql):
    with open_ledger(ledger) as connection:
        return connection.execute(sql).fetchall()


def open_questions(ledger):
    with open_ledger(ledger) as connection:
        cursor = connection.execute("SELECT * FROM question WHERE status = 'open' ORDER BY question_id")
        names = [c[0] for c in cursor.description]
        rows = [dict(zip(names, r, strict=True)) for r in cursor.fetchall()]
        return {
            (r["code"], r["row_key"]): (r["question_id"], {c.key: c for c in offered(connection, r)})
            for r in rows
        }


@pytest.fixture(scope="module")
def dirty(tmp_path_factory):
    """A folder with slips of each kind that has a right value, and the ledger it makes."""
    root = tmp_path_factory.mktemp("choices")
    visits = steady_visits("T1", n=8) + steady_visits("T2", n=8, start=90_000)
    for n in (3, 5):
        visits[n] |= {"odometer": round(visits[n]["odometer"] * MILE)}
    visits[12] |= {"visited_on": "2026-12-10", "odometer": 127_000, "unit": "T2"}
    visits.append(steady_visits("T3", n=1)[0])
    visits.append(steady_visits("t-2", n=2, start=110_500)[1] | {"visited_on": "2025-08-20"})
    tables = ONE_UNIT | {"vehicles": "unit\nT1\nT2", "pumps": "unit,pump_type\nT1,P1\nT2,P1"}
    folder = write_visits(root / "f", visits, **tables)
    ledger = root / "a.duckdb"
    load_folder(ledger, folder, author=ANYBODY, today=date(2026, 12, 1))
    return ledger, folder


def test_same_cause_many_rows_are_settled_together_and_stay_so(dirty):
    ledger, folder = dirty
    asked = open_questions(ledger)
    slips = [key for key in asked if key[0] == "odometer-kilometres"]
    assert len(slips) == 2
    offer = asked[slips[0]][1]["value"]
    assert offer.label == "It was in km: 49,000 mi"
    ids = [asked[key][0] for key in slips]
    assert settle_questions(ledger, ids, "value", "", ANYBODY, command="test") == 2
    rows = query(ledger, "SELECT round(odometer_km / 1.609344), odometer_unit, in_trend FROM visit"
                 " WHERE unit = 'T1' ORDER BY visited_on")  # fmt: skip
    assert [r[0] for r in rows] == [40_000 + 3_000 * i for i in range(8)]
    assert {r[1:] for r in rows} == {("mi", True), ("km", True)}
    days = [key for key in asked if key[0] == "future-date"]
    assert {k: c.label for k, c in asked[days[0]][1].items() if c.changes} == {
        "swapped": "It was 2026-10-12", "last-year": "It was 2025-12-10",
    }  # fmt: skip
    settle_questions(ledger, [asked[days[0]][0]], "swapped", "", ANYBODY, command="test")
    merged = [key for key in asked if key == ("unknown-unit", "t-2")]
    settle_questions(ledger, [asked[merged[0]][0]], "unit", "", ANYBODY, command="test")
    assert query(ledger, "SELECT unit FROM vehicle ORDER BY 1") == [("T1",), ("T2",), ("T3",)]
    assert query(ledger, "SELECT count(*), count(DISTINCT pump_id) FROM visit WHERE unit = 'T2'") == [(9, 1)]
    [(invented,)] = query(ledger, "SELECT visit_id FROM visit WHERE unit = 'T3'")
    withdraw_visit(ledger, invented, author=ANYBODY, reason="not ours")
    assert query(ledger, "SELECT unit FROM vehicle ORDER BY 1") == [("T1",), ("T2",)]
    assert query(ledger, "SELECT count(*) FROM pump WHERE unit = 'T3'") == [(0,)]
    assert not [f.text for f in check_ledger(ledger).findings if f.level == "problem"]
    again = load_folder(ledger, folder, author=ANYBODY, today=date(2026, 12, 1))
    assert (again.changes, again.refused) == (0, ())
    assert query(ledger, "SELECT count(*) FROM visit WHERE NOT withdrawn") == [(17,)]
    assert "implied-pump" not in {code for code, _ in open_questions(ledger)}


def test_as_typed_wants_a_reason_and_an_answer_must_be_offered(tmp_path):
    ledger = build_ledger(tmp_path / "a.duckdb")
    for key, reason, says in (("as-typed", "yes", "Give a reason"), ("unit", "", "has no answer 'unit'")):
        with pytest.raises(EntryRefused, match=says):
            settle_questions(ledger, [1], key, reason, ANYBODY, command="test")
    settle_questions(ledger, [1], "as-typed", "stood a month", ANYBODY, command="test")
    with pytest.raises(EntryRefused, match="answered by someone else"):
        settle_questions(ledger, [1], "as-typed", "stood a month", ANYBODY, command="test")


LOG = ["log", "--meter-a", "5.2", "--date", "2026-02-01"]


def test_yes_never_stores_the_error(tmp_path, capsys):
    ledger = build_ledger(tmp_path / "a.duckdb")
    run = [*LOG, "--ledger", str(ledger)]
    assert main([*run, "--unit", "1O3", "--odometer", "138000 km"]) == 1
    assert "It is unit 103: --correct similar-unit=unit" in capsys.readouterr().err
    assert main([*run, "--unit", "1O3", "--odometer", "138000 km", "--confirm", "similar-unit=yes"]) == 0
    assert query(ledger, "SELECT count(*) FROM vehicle") == [(8,)]
    assert query(ledger, "SELECT count(*) FROM visit WHERE unit = '103' AND meter_a = 5.2") == [(1,)]
    # 86,000 miles typed as kilometres of a fleet that drives to 138,000 km
    assert main([*run, "--unit", "102", "--odometer", "86000 km", "--correct", "odometer-miles"]) == 0
    kept = query(ledger, "SELECT round(odometer_km), odometer_entered, odometer_unit FROM visit"
                 " WHERE unit = '102' AND meter_a = 5.2")  # fmt: skip
    assert kept == [(round(86_000 * MILE), 86_000, "mi")]
    run_back = [*run, "--unit", "101", "--odometer", "1000 mi"]
    for yes in ([], ["--confirm", "odometer-below-last=yes"]):
        assert main([*run_back, *yes]) == 1
        assert 'the right one: --correct odometer-below-last="88412 mi"' in capsys.readouterr().err
    assert main([*run_back, "--correct", "odometer-below-last=86,400 mi"]) == 0
    kept = query(ledger, "SELECT odometer_entered FROM visit WHERE unit = '101' AND meter_a = 5.2")
    assert kept == [(86_400,)]
    capsys.readouterr()
    assert main([*run, "--unit", "555", "--odometer", "1000 km"]) == 1
    assert "--confirm unit-new=yes" in capsys.readouterr().err
    assert main([*run, "--unit", "555", "--odometer", "1000 km", "--confirm", "unit-new=yes"]) == 0
    assert query(ledger, "SELECT count(*) FROM vehicle") == [(9,)]


def test_the_page_offers_the_answers_and_settles_a_kind_together(dirty, tmp_path, monkeypatch):

    ledger = tmp_path / "page.duckdb"
    load_folder(ledger, dirty[1], author=ANYBODY, today=date(2026, 12, 1))
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    page = open_page("open_questions")
    # The first few stand there whole; each of the others opens from the question on its fold.
    asked = query(ledger, "SELECT question_id FROM question WHERE status = 'open'")
    folded = [number for (number,) in asked if f"fold_question_{number}" in page.session_state]
    assert len(folded) == min(len(asked), 10) - WHOLE
    why = f"why_{folded[0]}"
    assert why not in [box.key for box in page.text_input]
    page.session_state[f"fold_question_{folded[0]}"] = True
    assert why in [box.key for box in page.run().text_input]
    page.selectbox(key="code").set_value("odometer-kilometres").run()
    assert "It was in km: 49,000 mi" in [b.label for b in page.button]
    page.selectbox(key="alike_by").set_value("value")
    page.text_input(key="answered_by").set_value("PL")
    next(b for b in page.button if b.label == "Settle all of them").click()
    page.run()
    assert "2 questions settled" in words(page)


def _of_kind(annotation):
    return [] if "list" in annotation else "x" if annotation.startswith("str") else 5


def every_question():
    """One question of each kind and variant, of values like those it arises with."""
    texts = {"day": "2025-01-10", "today": "2026-02-01", "later": "2025-12-20", "unit": "103", "like": "1O3",
             "fitted_on": "2025-03-01", "removed_on": "2025-02-01", "ledger": "a", "kept": "b"}  # fmt: skip
    of_odometers = texts | {"unit": "mi", "own": "km", "other_unit": "104"}
    for module in (questions, odometer_questions, unit_questions):
        known = of_odometers if module is odometer_questions else texts
        for name, make in vars(module).items():
            named = inspect.signature(make).parameters if inspect.isfunction(make) else {}
            if getattr(make, "__module__", "") != module.__name__ or name.startswith("_"):
                continue
            values = {n: known.get(n, _of_kind(str(p.annotation))) for n, p in named.items()}
            if isinstance(made := make(**values), Question):
                yield made


def test_a_bare_yes_settles_only_what_asks_for_a_yes():
    asked = list(every_question())
    assert {(q.code, (q.values or {}).get("variant", "")) for q in asked} == {
        key for key in codes() if key[0] in {q.code for q in asked}
    }
    assert {q.code for q in asked if settled_by(q, "yes")} == {
        "similar-unit", "unit-new", "position-new", "pump-new", "pump-changed", "second-meter-reading",
    }  # fmt: skip
    assert {q.text for q in asked if q.code == "similar-unit" and settled_by(q, "Yes.")} == {
        "There are a unit 103 and a unit 1O3; is it 103?"
    }
    assert {q.code for q in asked if (yes := meant_by_yes(q)) and yes.changes} == {
        "similar-unit", "other-unit", "odometer-kilometres", "odometer-miles", "odometer-digit",
        "pressure-unit", "delivery-unit", "temperature-unit", "speed-unit", "drop-across",
    }  # fmt: skip
    for question in asked:
        assert all(settled_by(question, "read off the picture twice") for _ in question.code)
        standing = [c for c in choices_of(question) if c.key == "as-typed"]
        assert len(standing) == 1, question.code


def test_each_value_that_an_answer_puts_right_has_its_box_on_the_page():
    columns = {name for q in every_question() if q.code != "segments-told" for c in choices_of(q)
               for name in c.values}  # fmt: skip
    of_an_entry = columns & {f.name for f in fields(VisitEntry)}
    assert of_an_entry - set(BOX_OF) == {
        "odometer_km", "odometer_entered", "odometer_unit", "visited_on", "hours", "serial",
    }  # fmt: skip


def test_every_question_has_an_answer_that_lets_it_stand():
    for code, _ in codes():
        assert choices(code, None)[-1].key == "as-typed"


def test_questions_are_listed_and_settled_from_the_command_line(dirty, tmp_path, capsys):
    run = ["questions", "--ledger", str(tmp_path / "q.duckdb")]
    load_folder(tmp_path / "q.duckdb", dirty[1], author=ANYBODY, today=date(2026, 12, 1))
    assert main([*run, "--kind", "odometer-kilometres"]) == 0
    assert "--as value: It was in km: 49,000 mi" in capsys.readouterr().out
    assert main([*run, "--kind", "odometer-kilometres", "--as", "as-typed", "--why", "yes"]) == 1
    assert "Give a reason" in capsys.readouterr().err
    assert main([*run, "--kind", "odometer-kilometres", "--as", "value"]) == 0
    assert "2 questions settled" in capsys.readouterr().out
    assert main([*run, "--kind", "odometer-kilometres"]) == 0
    assert "Nothing is in doubt" in capsys.readouterr().out


def test_the_right_odometer_and_day_are_typed_on_the_command_line(dirty, tmp_path, capsys):
    ledger = tmp_path / "r.duckdb"
    load_folder(ledger, dirty[1], author=ANYBODY, today=date(2026, 12, 1))
    run = ["questions", "--ledger", str(ledger)]
    asked = {code: (number, key) for (code, key), (number, _) in open_questions(ledger).items()}
    (slip, slip_visit), (late, late_visit) = asked["odometer-kilometres"], asked["future-date"]
    assert main([*run, "--kind", "odometer-kilometres", "--right", "49,100 mi", "--why", "seen"]) == 1
    assert "--right is the right value of one question, and 2 are listed" in capsys.readouterr().err
    assert main([*run, "--number", str(slip)]) == 0
    assert f'--number {slip} --right "88412 mi" --why …: the right odometer' in capsys.readouterr().out
    for right, why, says in (("49,100 mi", "yes", "Give a reason first"), ("far", "seen", "is not a number")):
        assert main([*run, "--number", str(slip), "--right", right, "--why", why]) == 1
        assert says in capsys.readouterr().err
    assert main([*run, "--number", str(slip), "--right", "49,100 mi", "--why", "on the picture"]) == 0
    assert main([*run, "--number", str(late), "--right", "2025-12-11", "--why", "on the sheet"]) == 0
    told = (
        "SELECT odometer_entered, odometer_unit, visited_on::VARCHAR, in_trend FROM visit WHERE visit_id = "
    )
    assert query(ledger, told + slip_visit)[0][:2] == (49_100, "mi")
    assert query(ledger, told + late_visit)[0][2] == "2025-12-11"
    answers = f"SELECT status, answer FROM question WHERE question_id IN ({slip}, {late}) ORDER BY 2"
    said = query(ledger, answers)
    assert said == [("corrected", "on the picture"), ("corrected", "on the sheet")]
