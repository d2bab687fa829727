"""Questions about rows that went in: raised once, kept while they stand, closed when the row is corrected."""

from __future__ import annotations

import json
from dataclasses import replace

import duckdb
import pandas as pd

from ingest.errors import Question
from ingest.fleet_folder.report import RowProblem
from ingest.ledger.numbers import new_ids
from ingest.ledger.questions import KEEPS_OUT_OF_TREND, return_to_trend
from ingest.ledger.statements import statement
from ingest.ledger.transaction import Stamp

# Others this loader asks.
_ABOUT_THE_ROW = (
    "mangled-identifier",
    "unknown-unit",
    "similar-unit",
    "implied-pump",
    "unknown-pump-type",
    "lives-overlap",
    "not-removed",
    "serial-twice",
    "removal-undated",
    "removed-before-fitted",
    "vin-check-digit",
    "vin-malformed",
    "same-vin",
    "similar-vin",
)


class Questions:
    """Collects the questions of one load; `asked` lists them by file and row."""

    def __init__(self) -> None:
        self.asked: list[RowProblem] = []
        self._rows: list[tuple[str, str, str | None, str, str, str]] = []

    def ask(self, table: str, row_key: str, unit: str | None, problem: RowProblem) -> None:
        """Ask about one ledger row; `problem` says where in the folder it came from."""
        self.asked.append(problem)
        details = json.dumps(problem.values or {}, ensure_ascii=False)
        self._rows.append((table, str(row_key), unit, problem.field, problem.code, details))

    def unknown_units(self) -> list[str]:
        """Return the units asked about as described nowhere, that no other is spelt like."""
        return [
            key
            for table, key, _, _, code, details in self._rows
            if (table, code) == ("vehicle", "unknown-unit") and json.loads(details).get("like") is None
        ]

    def offer_unit(self, unit: str, question: Question) -> None:
        """Ask about a unit that is described nowhere by this question instead."""
        for at, row in enumerate(self._rows):
            if (row[0], row[1], row[4]) == ("vehicle", unit, "unknown-unit"):
                details = json.dumps(question.values or {}, ensure_ascii=False)
                self._rows[at] = (*row[:5], details)
        for at, problem in enumerate(self.asked):
            if problem.code == "unknown-unit" and (problem.values or {}).get("unit") == unit:
                self.asked[at] = replace(problem, text=question.text, values=question.values)

    def still_open(self, connection: duckdb.DuckDBPyConnection) -> list[RowProblem]:
        """Return those asked that nobody has answered yet, here or where the folder was written."""
        open_ones = set(connection.execute(statement("load/open_keys")).fetchall())
        keys = [(table, key, field, code) for table, key, _, field, code, _ in self._rows]
        return [p for p, key in zip(self.asked, keys, strict=True) if key in open_ones]

    def write(self, connection: duckdb.DuckDBPyConnection, loaded: pd.DataFrame, stamp: Stamp) -> int:
        """Store new questions, close those that no longer stand, mark visits; returns how many are new.

        loaded: columns table_name and row_key, the ledger rows this load brought.
        """
        columns = ["table_name", "row_key", "unit", "field", "code", "details"]
        asked = pd.DataFrame(self._rows, columns=columns, dtype="object").drop_duplicates(
            ["table_name", "row_key", "field", "code"]
        )
        kept_out = pd.DataFrame({"code": KEEPS_OUT_OF_TREND}, dtype="object")
        for name, frame in (("asked", asked), ("loaded_rows", loaded), ("kept_out", kept_out)):
            connection.register(name, frame)
        load_codes = pd.DataFrame({"code": KEEPS_OUT_OF_TREND + _ABOUT_THE_ROW}, dtype="object")
        connection.register("load_codes", load_codes)
        before = new_ids(connection, "question", len(asked)).start - 1
        new = connection.execute(statement("load/ask"), {"at": stamp.at, "before": before}).fetchall()[0][0]
        connection.execute(statement("load/close_questions"), {"at": stamp.at, "by": stamp.command})
        connection.execute(statement("load/take_out_of_trend"))
        closed = {"at": stamp.at, "by": stamp.command}
        settled = connection.execute(statement("load/visits_settled"), closed).fetchall()
        return_to_trend(connection, [visit_id for (visit_id,) in settled])
        for name in ("asked", "loaded_rows", "kept_out", "load_codes"):
            connection.unregister(name)
        return new
