"""One row of the trade rules."""

from __future__ import annotations

from dataclasses import dataclass, field

BOOK, WATCH, NOTE = "book replacement", "shorten interval", "none"


@dataclass(frozen=True)
class Rule:
    """One row. `family`: rows that show one and the same fault, so that either repeats the other.

    fails: the pump counts as failed once the steps are passed. fault: False for a finding that a good pump
    may show, which may found its baseline. done: the sentence once all steps are passed. leads: a fact, and
    which of the steps come first where it holds; the first fact that does counts.
    """

    id: str
    when: tuple[str, ...]
    text: str
    steps: tuple[str, ...] = ()
    end: str = NOTE
    says: dict[str, str] = field(default_factory=dict)
    unless: tuple[str, ...] = ()
    family: str = ""
    fails: bool = False
    fault: bool = True
    done: str = ""
    leads: tuple[tuple[str, tuple[str, ...]], ...] = ()
    mark: str = "[P]"

    @property
    def books(self) -> bool:
        """Whether the finding, with all steps passed, may book a replacement."""
        return self.end == BOOK

    def order(self, fact: str) -> tuple[str, ...]:
        """Return the steps in the order they have where `fact`, "" for none, is the one that leads."""
        first = dict(self.leads).get(fact, ())
        return (*first, *(step for step in self.steps if step not in first))
