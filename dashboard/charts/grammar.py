"""Charts written down in the words of Vega-Lite's grammar: what is drawn of which columns, layer on layer.

A chart that is put together from a library's objects copies each of them into the next larger one and holds
every part against a schema: three quarters of the processor time of a pump's page. Here a layer is its mark,
its encoding and the few columns that it encodes, written once; tests hold every chart against the schema.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

TYPES = {"Q": "quantitative", "N": "nominal", "O": "ordinal", "T": "temporal"}
DIGITS = 7  # of a figure that is drawn: more than any screen shows


def of(column: str, **more: Any) -> dict[str, Any]:
    """Return a channel that shows a column, named with the letter of its kind ("distance:Q"); more: the
    grammar's title, axis, scale, legend, format, …"""
    name, _, kind = column.rpartition(":")
    return {"field": name, "type": TYPES[kind]} | more


def to(column: str) -> dict[str, str]:
    """Return the channel for the other end of a bar or band."""
    return {"field": column}


def value(fixed: Any) -> dict[str, Any]:
    """Return a channel that is the same everywhere."""
    return {"value": fixed}


def where(test: str, then: Any, otherwise: Any) -> dict[str, Any]:
    """Return a channel of one value where `test` holds of a row (`datum`), and of another elsewhere."""
    return {"condition": {"test": test, "value": then}, "value": otherwise}


@dataclass(frozen=True)
class Layer:
    """Rows, the channels that their columns are shown by, and the mark that stands for each of them."""

    rows: pd.DataFrame
    channels: dict[str, Any] = field(default_factory=dict)
    how: dict[str, Any] = field(default_factory=dict)

    def encode(self, **channels: Any) -> Layer:
        """Return the layer with more channels, which go before those of the same name."""
        return replace(self, channels=self.channels | channels)

    def mark(self, kind: str, **how: Any) -> Layer:
        """Return the layer drawn by a mark: point, line, area, bar, rule, tick, rect or text."""
        return replace(self, how={"type": kind} | how)

    def written(self) -> dict[str, Any]:
        """Return the layer in the grammar's words, with the columns it needs and no other."""
        values = records(self.rows, sorted({*_fields(self.channels)} | _tested(self.channels, self.rows)))
        return {"data": {"values": values}, "mark": self.how, "encoding": self.channels}


def records(rows: pd.DataFrame, columns: list[str]) -> list[dict[str, Any]]:
    """Return rows as the grammar takes them: figures of DIGITS digits, days as text, None for what is
    missing."""
    told = [_plain(rows[name]) for name in columns]
    return [dict(zip(columns, row, strict=True)) for row in zip(*told, strict=True)]


def _plain(column: pd.Series) -> list[Any]:
    if pd.api.types.is_datetime64_any_dtype(column):
        column = column.dt.strftime("%Y-%m-%dT%H:%M:%S")  # without a zone: as a calendar has it
    cells = column.tolist()
    return [_cell(cell) for cell in cells]


def _cell(cell: Any) -> Any:
    if isinstance(cell, float):
        return float(f"{cell:.{DIGITS}g}") if abs(cell) < float("inf") else None
    if cell is None or cell is pd.NA or cell is pd.NaT:
        return None
    return cell.isoformat() if hasattr(cell, "isoformat") else cell


def _fields(told: Any) -> Iterator[str]:
    if isinstance(told, dict):
        if isinstance(told.get("field"), str):
            yield told["field"]
        for inner in told.values():
            yield from _fields(inner)
    elif isinstance(told, list):
        for inner in told:
            yield from _fields(inner)


def _tested(channels: dict[str, Any], rows: pd.DataFrame) -> set[str]:
    """Return the columns that a condition looks at."""
    tests = [c["condition"]["test"] for c in channels.values() if isinstance(c, dict) and "condition" in c]
    return {str(name) for name in rows for test in tests if f"datum.{name}" in test}
