"""What one row says twice in ways that can't both be true; the forms of the pages refuse the same."""

from __future__ import annotations

from collections.abc import Iterator

import pandas as pd

# Pairs of which the first may not exceed the second.
ORDERED = (
    ("current_low_a", "current_high_a"),
    ("rpm_low", "rpm_high"),
    ("year_from", "year_to"),
    ("in_service_on", "retires_on"),
    ("checked_on", "due_on"),
)


def contradictions(rows: pd.DataFrame) -> Iterator[tuple[int, str, str]]:
    """Yield (place, field, sentence) for each contradiction within a row."""
    for low, high in ORDERED:
        if low in rows and high in rows:
            for place in (rows[low] > rows[high]).to_numpy().nonzero()[0]:
                said = [f"{value:%Y-%m-%d}" if isinstance(value, pd.Timestamp) else f"{value:g}"
                        for value in (rows[low].iloc[place], rows[high].iloc[place])]  # fmt: skip
                yield int(place), low, f"{said[0]} lies above {high}, {said[1]}; one of them is wrong"
