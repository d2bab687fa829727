"""Open questions as a command lists them, each with the answers it offers."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from dashboard.data.queries import ALL_ROWS, records
from dashboard.statements import statement
from ingest.ledger.connection import open_ledger
from ingest.visit.settling import offered, takes_value
from ingest.wording.stored import question_text


def open_questions_of(
    ledger: Path, *, kind: str | None = None, unit: str | None = None, numbers: Sequence[int] | None = None
) -> list[dict[str, Any]]:
    """Return open questions, oldest first: question (its number), kind, unit, text, table, row, answers
    (key -> label, needs_reason), takes (as `takes_value`)."""
    narrowed: dict[str, Any] = {"code": kind, "find": "", "depots": [], "classes": [], "types": []}
    with open_ledger(ledger) as connection:
        asked = narrowed | {"rows": ALL_ROWS, "skip": 0}
        rows = connection.execute(statement("open_questions"), asked).df()
        return [
            {
                "question": int(row["question_id"]),
                "kind": row["code"],
                "unit": row["unit"],
                "text": question_text(row["code"], row["details"], row["text"]),
                "table": row["table_name"],
                "row": row["row_key"],
                "answers": {
                    choice.key: {"label": choice.label, "needs_reason": choice.needs_reason}
                    for choice in offered(connection, row)
                },
                "takes": takes_value(row),
            }
            for row in records(rows)
            if (unit is None or row["unit"] == unit) and (not numbers or row["question_id"] in numbers)
        ]
