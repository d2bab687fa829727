"""What a load did: counts by table, refused rows, questions and notices."""

from __future__ import annotations

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
        return asdict(self) | {"changes": self.changes}

    def lines(self, most: int = 20) -> list[str]:
        """The report as a person reads it; at most `most` problems of each sort are written out."""
        head = f"{'file':<16}{'rows':>9}{'added':>9}{'changed':>9}{'same':>9}{'asked':>9}{'refused':>9}"
        out = [head]
        for c in self.tables:
            out.append(
                f"{c.file:<16}{c.rows:>9,}{c.added:>9,}{c.changed:>9,}{c.unchanged:>9,}"
                f"{c.questioned:>9,}{c.refused:>9,}"
            )
        out += [f"note: {notice}" for notice in self.notices]
        for title, problems in (("refused", self.refused), ("question", self.questions)):
            out += [f"{title}: {problem.sentence()}" for problem in problems[:most]]
            if len(problems) > most:
                out.append(f"{title}: {len(problems) - most:,} more (all with --json)")
        if not self.stored:
            out.append("Dry run: nothing was stored." if self.dry_run else "Nothing was stored.")
        elif not self.changes:
            out.append("Nothing new: the ledger already holds all of this.")
        return out
