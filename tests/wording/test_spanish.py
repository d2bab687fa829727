"""Log a visit in Spanish: every sentence of it has Spanish words with the same places, and none is stored."""

import ast
import inspect
from pathlib import Path
from string import Formatter

import pytest

import dashboard
from analytics.judging.action import ACTIONS
from analytics.judging.beside import NEXT as NEXT_BESIDE
from analytics.judging.finding import DROPS_ON_LITTLE, OTHER_DROP
from analytics.judging.rules import RULES
from analytics.judging.safety import CAUTIONS, FIRST
from analytics.judging.steps import STEPS
from analytics.judging.wording import COMMAND_UNKNOWN
from analytics.scheduling import steps as job_steps
from dashboard.parts import entry_form, envelope, replacing
from dashboard.shell import language
from dashboard.words import formats, visit
from ingest.ledger.connection import open_ledger
from ingest.metrics import METRICS
from ingest.visit.choices import choices
from ingest.wording import measuring_notes, odometer_questions, stored
from ingest.wording.language import ENGLISH, SPANISH, catalogue, phrase, speaking, spoken
from ingest.wording.sentence import codes, said_of
from ingest.wording.stored import notes_from, question_text
from tests.ledger_fixture import build_ledger, small_capture, write_capture_csv
from tests.pages.page_runs import open_page, seen, small_file, words

ROOT = Path(dashboard.__file__).parents[1]
# Asked when a folder is loaded or a ledger mended, in the list of open questions, which speaks English.
NOT_AT_A_VISIT = {
    ("similar-unit", "loaded"), ("other-unit", "swapped"), ("unknown-unit", ""), ("unknown-unit", "goes-on"),
    ("capture-refused", ""), ("clamp-shift", ""), ("segments-told", ""),
    ("clamp-off", ""), ("capture-without-visit", ""), ("same-vin", ""), ("similar-vin", ""),
    ("vin-malformed", "length"), ("vin-malformed", "letters"), ("vin-check-digit", ""), ("vin-unchecked", ""),
    ("not-removed", ""), ("lives-overlap", ""), ("serial-twice", ""), ("removal-undated", ""),
    ("removed-before-fitted", ""), ("unknown-pump-type", ""), ("outside-pump-life", ""),
    ("between-pumps", ""),
    ("changes-lost", "entries"), ("changes-lost", "bytes"), ("changes-lost", "rebuilt"),
}  # fmt: skip
SAME_IN_BOTH = {"Factor", "VIN", "no", "10mV/A", "100mV/A"}


def places(sentence: str) -> list[tuple[str, str]]:
    return sorted((name, how or "") for _, name, how, _ in Formatter().parse(sentence) if name)


def test_every_note_and_question_of_a_visit_has_spanish_words_for_the_same_values():
    english, spanish = codes(), codes(SPANISH)
    assert set(english) - set(spanish) == NOT_AT_A_VISIT
    for code, write in spanish.items():
        assert inspect.signature(write) == inspect.signature(english[code]), code


def test_every_rule_step_and_caution_has_spanish_words():
    known = catalogue(SPANISH)
    rules = [text for rule in RULES for text in (rule.text, *rule.says.values(), rule.done) if text]
    steps = [step.text for step in STEPS]
    jobs = [text for name, text in vars(job_steps).items() if name.isupper() and isinstance(text, str)]
    not_said = (
        job_steps.LOOK,
        job_steps.DROPS,
        job_steps.NO_DELIVERY_RULE,
        job_steps.NO_FUEL,
        job_steps.CAUSE_FOUND,
    )
    jobs = [text for text in jobs if text not in not_said]
    cautions = [FIRST, *(text for _, text, _ in CAUTIONS)]
    steps += [*NEXT_BESIDE.values(), COMMAND_UNKNOWN, OTHER_DROP, DROPS_ON_LITTLE]
    assert [text for text in (*rules, *steps, *jobs, *cautions) if text not in known] == []


def test_every_choice_and_box_of_the_page_has_spanish_words():
    lists = (
        visit.REASONS, visit.STATES, visit.WORK, visit.PARTS, visit.PART_FOUND, visit.SUPPLY_AT,
        visit.DELIVERY_AT, visit.COMMANDED, visit.CAUSES, visit.OUTCOMES, replacing.REMOVALS, replacing.FOUND,
        entry_form.LABELS, {name: formats.ACTION_WORDS[name] for name in ACTIONS},
    )  # fmt: skip
    said = [text for each in lists for text in each.values()]
    said += [text for m in METRICS for text in (m.words, *([m.unit] if " " in m.unit else []))]
    ranges = inspect.getsource(envelope.zoom_choices)
    said += [name for name in ("Whole record", "Steady run", "Ten turns", "Two turns") if name in ranges]
    assert [text for text in said if text not in catalogue(SPANISH)] == []


def test_every_sentence_written_where_it_is_said_has_spanish_words():
    """Whatever the program hands to `phrase` as it stands."""
    written = {
        (path.name, node.args[0].value)
        for room in ("ingest", "analytics", "dashboard")
        for path in (ROOT / room).rglob("*.py")
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in ("phrase", "template") and node.args
        if isinstance(node.args[0], ast.Constant)
    }
    assert len(written) > 100
    assert sorted(each for each in written if each[1] not in catalogue(SPANISH)) == []


def test_spanish_words_have_the_same_places_and_are_other_words():
    for english, spanish in catalogue(SPANISH).items():
        assert places(english) == places(spanish), english
        assert english != spanish or english in SAME_IN_BOTH, english


def test_a_sentence_is_english_outside_and_where_it_has_no_other_words():
    note = measuring_notes.clipped(0.021)
    with speaking(SPANISH):
        assert said_of(note).startswith("El 2.1 % de las muestras")
        assert phrase("Not in any catalogue, {n}.", n=3) == "Not in any catalogue, 3."
    assert spoken() == ENGLISH
    assert said_of(note) == note.text == "2.1 % of samples sit at the end of the range: average and " \
        "ripple are off. Take a wider range and capture again."  # fmt: skip
    assert "text" not in stored.stored_note(note)


def test_answers_are_offered_in_the_language_and_kept_in_english():
    asked = odometer_questions.odometer_question("odometer-kilometres", 144_000, 90_000, "mi", last_km=88_000)
    with speaking(SPANISH):
        assert [c.label for c in choices(asked.code, asked.values)] == [
            "Era en km: 55,923 mi",
            "Como se escribió, 89,477 mi",
        ]
    assert choices(asked.code, asked.values)[1].label == "As typed, 89,477 mi"


@pytest.fixture(scope="module")
def ledger(tmp_path_factory):
    return build_ledger(tmp_path_factory.mktemp("es") / "fleet.duckdb")


@pytest.mark.parametrize(
    ("locale", "header", "first"),
    [
        ("es-MX", "en-US,en;q=0.9", "es"),
        (None, "es-419,es;q=0.9,en;q=0.8", "es"),
        ("de-DE", "de,en;q=0.5,es;q=0.3", "en"),
        (None, None, "en"),
    ],
)
def test_the_browsers_first_language_that_there_is_is_spoken(locale, header, first):
    assert (
        next((code for code in language.of_browser(locale, header) if code in language.NAMES), "en") == first
    )


def test_one_visit_turned_spanish_in_a_tap_shows_no_english_and_stores_no_spanish(
    ledger, tmp_path, monkeypatch
):
    monkeypatch.setenv("PUMPLEDGER", str(ledger))
    page = open_page("log_visit", unit="101")
    upload = small_file(write_capture_csv(tmp_path / "stop.csv", small_capture()))
    assert page.title[0].value == "Log a visit"
    for name, value in {"odometer": "1000 mi", "technician": "AB", "state": "idle"}.items():
        page.session_state[name] = value
    page.run()
    assert press(page, "Español").title[0].value == "Registrar una visita"
    assert (page.text_input(key="odometer").value, page.session_state["state"]) == ("1000 mi", "idle")
    page.file_uploader[0].set_value(upload).run()
    press(page, "Guardar la visita")  # an odometer that has run back is asked about
    text = shown(page)
    for said in ("Antes de conectar nada", "Próxima prueba.", "¿error al escribir", "Todavía no se guardó",
                 "▲ Aviso", "van primero", "Parada programada"):  # fmt: skip
        assert said in text
    assert english_in(text) == []
    next(box for box in page.text_input if str(box.key).startswith("answer_")).set_value("tablero nuevo")
    press(page, "Guardar la visita")
    assert "Guardada como visita 41 de la unidad 101." in shown(page)
    assert english_in(shown(page)) == []
    with open_ledger(ledger) as connection:
        [[kept]] = connection.execute("SELECT notes FROM reading WHERE visit_id = 41").fetchall()
        asked = connection.execute("SELECT code, details, text, answer FROM question").fetchall()
        notes = notes_from(kept)
    assert any(note.text.startswith("No stretch with the pump off") for note in notes)
    assert any(question_text(*row[:3]).startswith("Odometer 1,000 mi is below") for row in asked)
    kept += str(asked)
    assert not any(letter in kept.replace("tablero nuevo", "") for letter in "áéíóúñ¿")


def press(page, label):
    next(b for b in page.button if b.label == label).click()
    return page.run()


def shown(page) -> str:
    boxes = (
        *page.text_input,
        *page.selectbox,
        *page.button,
        *page.expander,
        *page.checkbox,
        *page.button_group,
    )
    labels = [str(getattr(box, "label", "")) for box in boxes]
    options = [str(option) for group in page.button_group for option in group.options]
    tables = [table.value.to_csv() for table in page.table]
    text = seen("\n".join([words(page), *labels, *options, *tables]))
    return text.replace("grey wire behind the left seat", "")  # what somebody entered of the vehicle


def english_in(text: str) -> list[str]:
    """Words that English sentences can't do without, and Spanish has not."""
    said = set(text.lower().replace(",", " ").replace(".", " ").replace(":", " ").split())
    return sorted(
        said & {"the", "of", "and", "is", "with", "this", "not", "pump", "current", "at", "for", "your"}
    )
