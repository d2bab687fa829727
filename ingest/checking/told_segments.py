"""A pump type's number of segments that its captures contradict is asked about, once for the type.

One capture may be of another motor, or hard to read. Where `FEWEST` captures of a type contradict the number
told of it, and more do than bear it out by a speed, the number is likelier wrong than the captures.
"""

from __future__ import annotations

import json
from collections import Counter

import duckdb

from ingest.ledger.questions import raise_question
from ingest.ledger.statements import statement
from ingest.reading import Reading
from ingest.wording.questions import segments_told

FEWEST = 2
CONTRADICTED = "segments-contradicted"


def contradicts(reading: Reading | None) -> bool:
    """Whether a reading of a capture contradicts the segments told."""
    return reading is not None and any(note.code == CONTRADICTED for note in reading.notes)


def ask_about_segments(connection: duckdb.DuckDBPyConnection, pump_id: int | None = None) -> list[str]:
    """Ask once about each pump type, or that of one pump, whose captures contradict its segments.

    In the caller's transaction; returns the types asked about now.
    """
    told = {"pump_id": pump_id, "fewest": FEWEST}
    rows = connection.execute(statement("visit/types_contradicted"), told).fetchall()
    doubted = [row for row in rows if row[2] > row[3]]
    if not doubted:
        return []
    asked = {key for (key,) in connection.execute(statement("visit/segments_asked")).fetchall()}
    new = [row for row in doubted if row[0] not in asked]
    for pump_type, segments, contradicting, bearing_out in new:
        looks_like = _looks_like(connection, pump_type)
        question = segments_told(pump_type, segments, looks_like, contradicting, contradicting + bearing_out)
        raise_question(connection, "pump_type", pump_type, question)
    return [row[0] for row in new]


def _looks_like(connection: duckdb.DuckDBPyConnection, pump_type: str) -> int:
    """The number that most of the contradicting captures lead to."""
    rows = connection.execute(statement("visit/contradicting_notes"), {"pump_type": pump_type}).fetchall()
    found = [
        int(note["values"]["looks_like"])
        for (notes,) in rows
        for note in json.loads(notes)
        if note["code"] == CONTRADICTED
    ]
    return Counter(found).most_common(1)[0][0]
