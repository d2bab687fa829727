"""Which language sentences are said in: English, unless a page speaks another while it is drawn.

What is stored, exported or written to a log is English always; the one who draws a page chooses. Words of
another language stand in catalogues, by the English sentence with its places in braces (as gettext has it),
and, for remarks that are stored as code and values, in functions by the code (`ingest.wording.sentence`).
A sentence without words in a language is said in English.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

ENGLISH, SPANISH = "en", "es"
_spoken: ContextVar[str] = ContextVar("language", default=ENGLISH)
_catalogues: dict[str, dict[str, str]] = {SPANISH: {}}


def spoken() -> str:
    """Return the code of the language in use here (ISO 639-1)."""
    return _spoken.get()


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Say every sentence within in a language."""
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)


def learn(language: str, words: Mapping[str, str]) -> None:
    """Add to a language's catalogue: the English sentence and its own."""
    _catalogues[language].update(words)


def phrase(english: str, **values: Any) -> str:
    """Return a sentence in the language in use, with its values in their places."""
    said = template(english)
    return said.format(**values) if values else said


def template(english: str) -> str:
    """Return a sentence in the language in use, its places still in braces."""
    catalogue = _catalogues.get(_spoken.get())
    return catalogue.get(english, english) if catalogue else english


def catalogue(language: str) -> dict[str, str]:
    """Return a language's catalogue."""
    return dict(_catalogues[language])
