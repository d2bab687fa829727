"""A form for any row a person may keep by hand, drawn from the columns of its table."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

import streamlit as st

from dashboard.shell import initials
from dashboard.words import formats
from ingest.fleet_folder.tables import Column, Table

COLUMNS = 3
LABELS = {
    "pump_type": "Type, its part number",
    "motor": "Motor",
    "supply": "Supply",
    "fuel": "Fuel",
    "segments": "Segments",
    "poles": "Magnet poles",
    "current_low_a": "Specified current, low",
    "current_high_a": "Specified current, high",
    "spec_at_v": "Specified at volts",
    "spec_at_kpa": "Specified at pressure",
    "ripple_limit_pct": "Ripple limit, % of average",
    "rpm_low": "Speed, low, rpm",
    "rpm_high": "Speed, high, rpm",
    "rated_pressure_kpa": "Rated pressure",
    "min_delivery_l_min": "Least delivery",
    "filter": "Filter",
    "lead_time_days": "Lead time, days",
    "price": "Price of the part",
    "warranty_months": "Warranty, months",
    "warranty_distance": "Warranty, distance",
    "spec_source": "Where the specification is from",
    "vin": "VIN",
    "system_v": "System",
    "in_service_on": "In service since",
    "records_from": "Records begin",
    "retires_on": "Retires on",
    "pm_interval": "Interval, distance",
    "pm_interval_days": "Interval, days",
    "pm_interval_hours": "Interval, engine hours",
    "job_hours": "Hours to change a pump",
    "clock": "Interval counts by",
    "year_from": "Model years from",
    "year_to": "Model years to",
    "clamp_point": "Clamp at",
    "clamp": "Its name",
    "factor": "Factor, such as 100mV/A",
    "range_a": "Reads at most",
    "pct": "Off by, % of the reading",
    "offset_a": "and on top",
    "owner": "Who has it",
    "checked_on": "Last checked on",
    "due_on": "Check due on",
}


def fields(
    table: Table,
    row: Mapping[Any, Any] | None,
    *,
    key: str,
    own: str,
    leave_out: tuple[str, ...] = (),
    suggest: Mapping[str, list[str]] | None = None,
) -> dict[str, str]:
    """Draw one field a column, filled from `row` (ledger columns), and return what stands in them as text.

    suggest: values to choose from, by column, where another may be typed as well.
    """
    shown = [c for c in table.columns if c.name not in ("ref", *leave_out)]
    typed: dict[str, str] = {}
    for start in range(0, len(shown), COLUMNS):
        for place, column in zip(st.columns(COLUMNS), shown[start : start + COLUMNS], strict=False):
            with place:
                value = as_text(column, None if row is None else row.get(column.target), own)
                typed[column.name] = _field(column, value, f"{key}_{column.name}", own, suggest or {})
    return typed


def _field(column: Column, value: str, key: str, own: str, suggest: Mapping[str, list[str]]) -> str:
    label = label_of(column, own)
    if column.kind == "choice":
        options = ["", *column.choices]
        return str(
            st.selectbox(
                label, options, index=options.index(value) if value in options else 0, key=key,
                format_func=lambda choice: choice or "not told",
            )
        )  # fmt: skip
    if column.name in suggest:
        options = list(dict.fromkeys([*suggest[column.name], *([value] if value else [])]))
        chosen = st.selectbox(label, options, index=options.index(value) if value else None, key=key,
                              accept_new_options=True, placeholder="not told")  # fmt: skip
        return str(chosen or "")
    return st.text_input(label, value, key=key, placeholder="YYYY-MM-DD" if column.kind == "date" else None)


def label_of(column: Column, own: str) -> str:
    """Return a field's label with the unit of a bare number."""
    label = LABELS.get(column.name, column.name.replace("_", " ").capitalize())
    unit = own if column.kind == "distance" else column.unit
    return f"{label}, {unit}" if unit else label


def as_text(column: Column, value: Any, own: str) -> str:
    """Return a kept value as it would be typed."""
    if formats.is_unknown(value):
        return ""
    if column.kind == "date" or isinstance(value, date):
        return formats.day(value)
    if column.kind == "distance":
        return f"{formats.in_unit(float(value), own):.10g}"
    if column.kind in ("number", "integer"):
        return f"{float(value):.10g}"
    return str(value)


def signature(key: str, reason: str = "Reason or source") -> tuple[str, str]:
    """Ask for reason and initials, side by side; returns both."""
    why, who = st.columns([3, 1])
    text = why.text_input(reason, key=f"{key}_reason")
    by = initials.ask(f"{key}_by", who)
    return text, by
