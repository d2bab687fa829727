"""Errors a user can cause. Each carries a stable code and one sentence: what, where, what to do."""

from __future__ import annotations

import dataclasses
import logging
import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from ingest.harmless import harmless

log = logging.getLogger(__name__)


LONGEST_WORD, LONGEST_SENTENCES = 200, 2_000


def for_reading(text: str) -> str:
    """Return sentences without what a terminal would obey, and no word or whole of absurd length."""
    text = harmless(text)
    text = re.sub(rf"(\S{{60}})\S{{{LONGEST_WORD - 60},}}", r"\1…", text)
    if len(text) > LONGEST_SENTENCES:
        half = LONGEST_SENTENCES // 2
        text = f"{text[:half]} … {text[-half:]}"
    return text


class PumpledgerError(Exception):
    """Base of every error shown to a user; `str(error)` is the sentence itself."""

    def __init__(self, code: str, text: str):
        self.code = code
        self.text = for_reading(text)
        super().__init__(self.text)


ASK_FACTOR = ("probe-needed", "unit-needed")  # refusals that what the clamp gives would settle


class CaptureRefused(PumpledgerError):
    """A file that can't be read as a current capture, or a capture that can't be measured.

    channels: names of those of which one has to be chosen.
    """

    def __init__(self, code: str, text: str, channels: Iterable[str] = ()):
        super().__init__(code, text)
        self.channels = tuple(channels)


class EntryRefused(PumpledgerError):
    """A value a person typed, or a row of a table, that can't be taken as it stands."""


class LedgerError(PumpledgerError):
    """The ledger can't be opened, read or written."""


@dataclass(frozen=True)
class Question:
    """Something a person has to confirm; it is never settled silently.

    `field` is the entry it concerns ("odometer"), `code` the kind ("odometer-below-last"). values: what the
    sentence is made from again by `ingest.wording`; None in a question that was kept without.
    """

    field: str
    code: str
    text: str
    values: dict[str, Any] | None = dataclasses.field(default=None, hash=False)


class AnswerNeeded(EntryRefused):
    """An entry was not stored because these questions need an answer (a reason) first."""

    def __init__(self, questions: tuple[Question, ...]):
        super().__init__("answer-needed", " ".join(q.text for q in questions))
        self.questions = questions


@contextmanager
def faults_refused(name: str) -> Iterator[None]:
    """Turn a fault of our own over one file into its refusal, so that the files after it get their turn.

    What happened in full goes to the log at debug level (`--verbose`).
    """
    try:
        yield
    except PumpledgerError:
        raise
    except MemoryError as error:
        raise CaptureRefused(
            "too-large",
            f"{name}: it takes more memory than there is; export a shorter record or one channel.",
        ) from error
    except Exception as error:
        log.debug("A fault over %s", name, exc_info=True)
        raise CaptureRefused(
            "fault",
            f"{name}: a fault in pumpledger ({type(error).__name__}) keeps it from being measured; "
            "please report it, with the file and what --verbose shows.",
        ) from error
