"""How a remark gets its sentence: from its code and values, by one function that has the words.

What is stored is code and values. Another language is another set of these functions, with the same codes and
the same values: `in_language` marks them. A remark that has just arisen carries its English sentence; `said`
says it in the language in use. Remarks of a ledger from before values were kept have their sentence only,
which stands.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, ParamSpec

from ingest.capture import Level, Note
from ingest.errors import Question
from ingest.wording.language import spoken

P = ParamSpec("P")
VARIANT = "variant"  # the value that tells sentences of one code apart
READ_WITH = "read_with"  # values that the answers to a question are made from, and not its sentence
SCALED = "scaled"  # what an answer about a clamp scaled, kept with its question so that it can be taken back
_writers: dict[tuple[str, str], Callable[..., str]] = {}
_others: dict[tuple[str, str, str], Callable[..., str]] = {}


def note(code: str, level: Level, variant: str = "") -> Callable[[Callable[P, str]], Callable[P, Note]]:
    """Let a function that words a note make the note: its arguments are the values that are kept."""

    def decorate(write: Callable[P, str]) -> Callable[P, Note]:
        keep = _keeper(code, variant, write)

        @wraps(write)
        def make(*args: P.args, **kwargs: P.kwargs) -> Note:
            return Note(code, level, write(*args, **kwargs), keep(*args, **kwargs))

        return make

    return decorate


def question(code: str, field: str, variant: str = "") -> Callable[[Callable[P, str]], Callable[P, Question]]:
    """Let a function that words a question make it, about that field of an entry."""

    def decorate(write: Callable[P, str]) -> Callable[P, Question]:
        keep = _keeper(code, variant, write)

        @wraps(write)
        def make(*args: P.args, **kwargs: P.kwargs) -> Question:
            return Question(field, code, write(*args, **kwargs), keep(*args, **kwargs))

        return make

    return decorate


def in_language(
    language: str, code: str, variant: str = ""
) -> Callable[[Callable[..., str]], Callable[..., str]]:
    """Let a function word a note or question in another language: its arguments are the values kept."""

    def decorate(write: Callable[..., str]) -> Callable[..., str]:
        assert (language, code, variant) not in _others, f"{code} {variant} is worded twice in {language}"
        _others[language, code, variant] = write
        return write

    return decorate


def said(code: str, values: Mapping[str, Any] | None, kept: str | None = None) -> str:
    """Return the sentence for a stored code and its values.

    kept: the sentence stored in a ledger that kept no values; it also stands for a code that is no longer
    known. Without either the code and values are said as they are, so that nothing is lost.
    """
    if values is not None:
        told = dict(values)
        for beside in (READ_WITH, SCALED):
            told.pop(beside, None)
        variant = told.pop(VARIANT, "")
        write = _others.get((spoken(), code, variant)) or _writers.get((code, variant))
        if write is not None and _fits(write, told):
            return write(**told)
    if kept:
        return kept
    return f"{code}: {', '.join(f'{k} {v}' for k, v in (values or {}).items())}."


def said_of(remark: Note | Question) -> str:
    """Return the sentence of a note or question that has just arisen, in the language in use."""
    return said(remark.code, remark.values, remark.text)


def codes(language: str | None = None) -> dict[tuple[str, str], Callable[..., str]]:
    """Return what words each code and variant, in English or another language."""
    if language is None:
        return dict(_writers)
    return {(code, variant): write for (of, code, variant), write in _others.items() if of == language}


def _keeper(code: str, variant: str, write: Callable[..., str]) -> Callable[..., dict[str, Any]]:
    """Register what words a code, and return what keeps a call's arguments as values."""
    assert (code, variant) not in _writers, f"{code} {variant} is worded twice"
    _writers[code, variant] = write
    signature = inspect.signature(write)
    told = {VARIANT: variant} if variant else {}

    def keep(*args: Any, **kwargs: Any) -> dict[str, Any]:
        bound = signature.bind(*args, **kwargs)
        bound.apply_defaults()
        return told | {name: _plain(value) for name, value in bound.arguments.items()}

    return keep


def _plain(value: Any) -> Any:
    """Return a value as JSON holds it."""
    if isinstance(value, list | tuple):
        return [_plain(each) for each in value]
    if hasattr(value, "item"):
        value = value.item()
    return None if value != value else value


def _fits(write: Callable[..., str], values: Mapping[str, Any]) -> bool:
    try:
        inspect.signature(write).bind(**values)
    except TypeError:
        return False
    return True
