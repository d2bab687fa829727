"""How a remark gets its sentence: from its code and values, by one function that has the words.

What is stored is code and values. Another language is another set of these functions, with the same codes and
the same values. Remarks of a ledger from before values were kept have their sentence only, which stands.
"""

from __future__ import annotations

import inspect
from collections.abc import Callable, Mapping
from functools import wraps
from typing import Any, ParamSpec

from ingest.capture import Level, Note
from ingest.errors import Question

P = ParamSpec("P")
VARIANT = "variant"  # the value that tells sentences of one code apart
_writers: dict[tuple[str, str], Callable[..., str]] = {}


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


def said(code: str, values: Mapping[str, Any] | None, kept: str | None = None) -> str:
    """Return the sentence for a stored code and its values.

    kept: the sentence stored in a ledger that kept no values; it also stands for a code that is no longer
    known. Without either the code and values are said as they are, so that nothing is lost.
    """
    if values is not None:
        told = dict(values)
        write = _writers.get((code, told.pop(VARIANT, "")))
        if write is not None and _fits(write, told):
            return write(**told)
    if kept:
        return kept
    return f"{code}: {', '.join(f'{k} {v}' for k, v in (values or {}).items())}."


def codes() -> dict[tuple[str, str], Callable[..., str]]:
    """Return what words each code and variant."""
    return dict(_writers)


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
