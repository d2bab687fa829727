"""Free text of jobs: which rows speak of a fuel pump that was changed, and by which words."""

from __future__ import annotations

import re
from dataclasses import dataclass
from itertools import product

import pandas as pd

from ingest.fleet_folder.column_words import folded

WINDOW = 4  # words, the first and last of a phrase with those between: "fuel pump dead, replaced"
# Beginnings of words, in English, German, Spanish and French.
_PUMPS = ("pump", "kraftstoffpumpe", "bomba", "pompe")
_CHANGES = (
    "new", "replac", "chang", "renew", "fitted", "install", "swap", "r&r", "neu", "getauscht", "ersetzt",
    "ausgetauscht", "gewechselt", "erneuert", "eingebaut", "nueva", "cambi", "reemplaz", "sustitu", "neuve",
    "remplac", "montee",
)  # fmt: skip
# Other pumps of a vehicle, and parts that a pump leaves in place when they are changed.
OTHERS = (
    "water pump", "coolant pump", "steering pump", "washer pump", "oil pump", "vacuum pump", "air pump",
    "injection pump", "hydraulic pump", "brake pump", "pump relay", "pump fuse", "bomba de agua",
    "bomba de aceite", "bomba de direccion", "pompe a eau", "pompe a huile", "pompe de direction",
)  # fmt: skip


@dataclass(frozen=True)
class Only:
    """Rows of a file that a table takes: those whose cell under `header` has all words of one of `any` within
    WINDOW words, and none of `none`. Words are beginnings of words, without accents, whatever their case."""

    header: str
    any: tuple[str, ...]
    none: tuple[str, ...] = ()


def spoken(cells: pd.Series, only: Only) -> pd.Series:
    """Return which cells are meant, one bool a cell."""
    wanted, others = ([folded(phrase).split() for phrase in words] for words in (only.any, only.none))

    def meant(cell: object) -> bool:
        words = _words(cell)
        return any(_near(words, phrase, WINDOW) for phrase in wanted) and not any(
            _near(words, phrase, len(phrase)) for phrase in others
        )

    return cells.fillna("").map(meant).astype(bool)


def changes_told(cells: pd.Series, header: str) -> Only | None:
    """Return the words by which cells speak of changed fuel pumps; None where none does."""
    phrases = [f"{pump} {change}" for pump, change in product(_PUMPS, _CHANGES)]
    texts = pd.Series(cells.unique(), dtype="object")
    found = tuple(phrase for phrase in phrases if spoken(texts, Only(header, (phrase,), OTHERS)).any())
    return Only(header, found, OTHERS) if found else None


def _words(cell: object) -> list[str]:
    return re.findall(r"[^\W_]+(?:&[^\W_]+)?", folded(str(cell)))


def _near(words: list[str], phrase: list[str], window: int) -> bool:
    """Return whether each word of a phrase begins one of `window` words that follow one another."""
    for start, word in enumerate(words):
        if any(word.startswith(wanted) for wanted in phrase):
            near = words[start : start + window]
            if all(any(each.startswith(wanted) for each in near) for wanted in phrase):
                return True
    return False
