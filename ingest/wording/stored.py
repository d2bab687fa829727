"""Remarks and questions on their way into the ledger and out of it, and their sentences there."""

from __future__ import annotations

import json
from typing import Any

from ingest.capture import Note
from ingest.errors import Question

# These have the words; each is known once it is imported.
from ingest.wording import (  # noqa: F401
    file_notes,
    measuring_notes,
    odometer_questions,
    questions,
    spanish,
    spanish_measuring,
    spanish_notes,
    spanish_questions,
    unit_questions,
)
from ingest.wording.sentence import said


def stored_note(note: Note) -> dict[str, Any]:
    """Return a note as the ledger keeps it: its sentence only where there are no values to make it from."""
    kept = {"code": note.code, "level": note.level}
    return kept | ({"text": note.text} if note.values is None else {"values": dict(note.values)})


def stored_question(question: Question) -> dict[str, str | None]:
    """Return the columns `details` and `text` of a question, one of them filled."""
    if question.values is None:
        return {"details": None, "text": question.text}
    return {"details": json.dumps(question.values, ensure_ascii=False), "text": None}


def question_text(code: str, details: Any, text: Any) -> str:
    """Return the sentence of a stored question, from those columns of its row."""
    return said(code, json.loads(details) if isinstance(details, str) and details else None, text or None)


def notes_from(stored: str | None) -> tuple[Note, ...]:
    """Return the notes of a `notes` column, worded as today."""
    return tuple(
        Note(n["code"], n["level"], said(n["code"], n.get("values"), n.get("text")), n.get("values"))
        for n in json.loads(stored or "[]")
    )
