"""Errors a user can cause. Each carries a stable code and one sentence: what, where, what to do."""

from __future__ import annotations

from dataclasses import dataclass


class PumpledgerError(Exception):
    """Base of every error shown to a user; `str(error)` is the sentence itself."""

    def __init__(self, code: str, text: str):
        super().__init__(text)
        self.code = code
        self.text = text


class CaptureRefused(PumpledgerError):
    """A file that can't be read as a current capture, or a capture that can't be measured."""


class EntryRefused(PumpledgerError):
    """A value a person typed, or a row of a table, that can't be taken as it stands."""


class LedgerError(PumpledgerError):
    """The ledger can't be opened, read or written."""


@dataclass(frozen=True)
class Question:
    """Something a person has to confirm; it is never settled silently.

    `field` is the entry it concerns ("odometer"), `code` the kind ("odometer-below-last").
    """

    field: str
    code: str
    text: str


class AnswerNeeded(EntryRefused):
    """An entry was not stored because these questions need an answer (a reason) first."""

    def __init__(self, questions: tuple[Question, ...]):
        super().__init__("answer-needed", " ".join(q.text for q in questions))
        self.questions = questions
