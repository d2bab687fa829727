"""The page of codes, from what words them: `python -m analytics.codes_page`."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Mapping
from pathlib import Path

from analytics import wording
from ingest.wording import file_notes, measuring_notes, odometer_questions, questions, unit_questions
from ingest.wording.sentence import codes

OUTPUT = Path(__file__).parents[1] / "docs" / "codes.md"
HEAD = """# Codes: notes, questions and reasons

Generated from `ingest/wording` and `analytics/wording.py` by `python -m analytics.codes_page`; edit those,
not this page. What `--json` and the ledger hold is the code and the values named here; the sentence is made
from them when it is shown. Codes of trade rules, steps
and checks stand in [trade rules](trade_rules.md); those of files that can't be read, with what to do, in
[reading a capture](reading_a_capture.md).
"""
# What words notes and questions, under which heading, and what is said of them together.
SECTIONS = {
    file_notes: ("Notes on a file", "What was assumed while it was read; the reading stands."),
    measuring_notes: (
        "Notes on a measurement",
        "What the trace showed beside the figures, and why a figure is missing; no verdict on the pump.",
    ),
    questions: (
        "Questions",
        "Each waits for a person: at the entry by `--correct CODE=ANSWER` or `--confirm CODE=WHY`, later on "
        "the page Open questions or by `pumpledger questions`.",
    ),
    odometer_questions: ("Questions about odometers", "The value that is offered is in the sentence."),
    unit_questions: ("Questions about units", "The value that is offered is in the sentence."),
}
OF_REASONS = {
    "HEADS": "how likely, and in how far",
    "FIRST_PART": "the first cause, in points of the risk",
    "WEAR": "slow wear",
    "DAMAGES": "a damage, before a colon",
    "ONSETS": "and how far it has come, after it",
    "AFTER_PARTS": "what no reading shows, and the evidence",
    "BESIDE": "what the figure rests on",
}


def codes_page() -> str:
    """Return the page: each code with its values and when it arises, or its sentence."""
    parts = [HEAD]
    for module, (title, about) in SECTIONS.items():
        parts.append(f"\n## {title}\n\n{about}\n\n| code | values | arises with |\n|---|---|---|\n")
        parts += _remarks(module.__name__)
    parts.append(
        "\n## Reasons of a risk\n\n`reason_codes` of `rank --json`: clauses that are put together.\n\n"
        "| code | clause | says |\n|---|---|---|\n"
    )
    for name, about in OF_REASONS.items():
        parts += _sentences(getattr(wording, name), about)
    parts.append(
        "\n## Actions, and what stands beside a plan or a review\n\n`action_code` of `rank --json`, "
        "`note_codes` of `plan --json` and `cost --json`, and beside a sentence there as `…_code`."
        "\n\n| code | sentence |\n|---|---|\n"
    )
    parts += _sentences(wording.SENTENCES)
    return "".join(parts)


def _remarks(module: str) -> list[str]:
    rows: dict[str, list[Callable[..., str]]] = {}
    for (code, _), write in codes().items():
        if write.__module__ == module:
            rows.setdefault(code, []).append(write)
    return [
        f"| `{code}` | {_values(writers)} | {'; '.join(_arises(write) for write in writers)} |\n"
        for code, writers in rows.items()
    ]


def _values(writers: list[Callable[..., str]]) -> str:
    names = dict.fromkeys(name for write in writers for name in inspect.signature(write).parameters)
    return ", ".join(names) or "–"


def _arises(write: Callable[..., str]) -> str:
    """Return when it arises, from the first paragraph of the docstring."""
    told = (inspect.getdoc(write) or "").split("\n\n")[0]
    return " ".join(told.split()).rstrip(".").replace("|", "/")


def _sentences(words: Mapping[str, str], *more: str) -> list[str]:
    """Return a row a code, with its sentence, values in braces by name alone."""
    said = {code: re.sub(r"{(\w+)[^}]*}", r"{\1}", text).strip() for code, text in words.items()}
    return [f"| `{code}` | {' | '.join([text, *more])} |\n" for code, text in said.items()]


if __name__ == "__main__":
    OUTPUT.write_text(codes_page(), encoding="utf-8")
