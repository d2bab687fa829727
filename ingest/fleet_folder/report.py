"""What a load did: counts by table, refused rows, questions and notices."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from typing import Any

from ingest.errors import Question, for_reading


@dataclass(frozen=True)
class RowProblem:
    """What is the matter with one row, or file (row 0); `row` counts as a spreadsheet does, header first."""

    file: str
    row: int
    field: str
    code: str
    text: str
    values: dict[str, Any] | None = None  # what a question's sentence is made from

    def __post_init__(self) -> None:
        object.__setattr__(self, "text", for_reading(self.text))

    def sentence(self) -> str:
        """`visits.csv row 12, visited_on: '2026-13-01' is not a date; …`."""
        where = f"{self.file} row {self.row}" if self.row else self.file
        return f"{where}, {self.field}: {self.text}" if self.field else f"{where}: {self.text}"

    def cause(self) -> str:
        """What is the matter without the cell and figures of this row: alike where rows have it in common."""
        if self.values is not None:
            return self.code
        return re.sub(r"'[^']*'|\d[\d,.]*", "…", re.sub(r"^'.*?' (?=\w)", "", self.text))


@dataclass(frozen=True)
class Group:
    """Rows of a file with the same cause in the same field. `rows`: where they stand; example: the first."""

    file: str
    field: str
    code: str
    rows: tuple[int, ...]
    example: RowProblem

    def sentence(self) -> str:
        """As its only row says it, or how many there are and one of them."""
        if len(self.rows) == 1:
            return self.example.sentence()
        where = f"{self.file}, {self.field}" if self.field else self.file
        return f"{where}: {len(self.rows):,} rows, such as row {self.example.row}: {self.example.text}"


def grouped(problems: Sequence[RowProblem]) -> tuple[Group, ...]:
    """Return problems by file, field and cause, in the order in which each first occurs: many of one kind
    never hide another."""
    groups: dict[tuple[str, str, str, str], list[RowProblem]] = {}
    for problem in problems:
        groups.setdefault((problem.file, problem.field, problem.code, problem.cause()), []).append(problem)
    return tuple(
        Group(file, field, code, tuple(p.row for p in rows), rows[0])
        for (file, field, code, _), rows in groups.items()
    )


def asked(file: str, row: int, question: Question, field: str | None = None) -> RowProblem:
    """Return a question as one about a row of a file; field: its column, if not the question's own."""
    return RowProblem(file, row, field or question.field, question.code, question.text, question.values)


@dataclass(frozen=True)
class TableCount:
    """How the rows of one file fared; rows = added + changed + unchanged + refused."""

    file: str
    rows: int = 0
    added: int = 0
    changed: int = 0
    unchanged: int = 0
    questioned: int = 0
    refused: int = 0


@dataclass(frozen=True)
class LoadReport:
    """The outcome of one load. `stored`: whether the ledger took the folder in."""

    folder: str
    tables: tuple[TableCount, ...]
    questions: tuple[RowProblem, ...] = ()
    refused: tuple[RowProblem, ...] = ()
    notices: tuple[str, ...] = ()
    dry_run: bool = False
    stored: bool = True
    seconds: float = field(default=0.0, compare=False)

    @property
    def changes(self) -> int:
        """Rows added or changed."""
        return sum(count.added + count.changed for count in self.tables)

    @property
    def rows_kept(self) -> int:
        """Rows that are in the ledger now, whether new or there before."""
        return sum(count.added + count.changed + count.unchanged for count in self.tables)

    def as_dict(self) -> dict[str, Any]:
        """Plain data for --json."""
        groups = {
            f"{name}_by_cause": [asdict(g) | {"text": g.sentence()} for g in grouped(problems)]
            for name, problems in (("refused", self.refused), ("questions", self.questions))
        }
        return asdict(self) | {"changes": self.changes} | groups

    def lines(self, most: int = 40) -> list[str]:
        """The report as a person reads it; at most `most` causes of each sort are written out."""
        head = f"{'file':<16}{'rows':>9}{'added':>9}{'changed':>9}{'same':>9}{'asked':>9}{'refused':>9}"
        out = [head]
        for c in self.tables:
            out.append(
                f"{c.file:<16}{c.rows:>9,}{c.added:>9,}{c.changed:>9,}{c.unchanged:>9,}"
                f"{c.questioned:>9,}{c.refused:>9,}"
            )
        out += [f"note: {notice}" for notice in self.notices]
        for title, problems in (("refused", self.refused), ("question", self.questions)):
            groups = grouped(problems)
            out += [f"{title}: {group.sentence()}" for group in groups[:most]]
            if len(groups) > most:
                out.append(f"{title}: {len(groups) - most:,} more causes (all with --json)")
        if not self.stored:
            out.append("Dry run: nothing was stored." if self.dry_run else "Nothing was stored.")
        elif not self.changes:
            out.append("Nothing new: the ledger already holds all of this.")
        return out
