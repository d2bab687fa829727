"""Printed values into amperes: unit, probe, converter codes, full scale."""

from __future__ import annotations

import numpy as np

from ingest.capture import Note
from ingest.errors import CaptureRefused
from ingest.readers.options import Options
from ingest.readers.plausibility import is_ac_coupled, running_mean
from ingest.readers.roles import unit_of
from ingest.readers.signal_units import UNITS, SignalUnit
from ingest.readers.table import Column, Table
from ingest.trade_numbers import PLAUSIBLE_A
from ingest.wording import file_notes

SCREEN_DIVISIONS = 12.0  # no trace is taller than its screen


def to_amperes(table: Table, channel: Column, options: Options) -> tuple[np.ndarray, list[Note], bool]:
    """Return (amperes, notes, whether the unit is known); CaptureRefused asks for what is not said."""
    header = table.header
    unit = unit_of(channel) or _header_unit(table, channel)
    values = channel.values
    if unit and unit.kind not in ("current", "voltage", "code"):
        raise CaptureRefused(
            "not-electrical",
            f"{channel.name} is in {channel.unit_text or unit.symbol}, not in A or V; "
            "choose the clamp's channel with --channel, or export it.",
        )
    if unit is None and channel.unit_text.strip():
        raise CaptureRefused(
            "unknown-unit",
            f"{channel.name} is in '{channel.unit_text}', which is not a unit of current or voltage; "
            "export it in A, mA, V or mV.",
        )
    if table.full_scale:
        return _of_full_scale(values, options)
    if header.code_scale is not None and (unit is None or unit.kind == "code" or _is_codes(values, table)):
        scaled = (values - header.code_offset) * header.code_scale + header.code_zero
        note = file_notes.codes_scaled(header.code_scale)
        header_unit = _header_unit(table, channel) if unit is None or unit.kind == "code" else unit
        amperes, notes, known = _of_unit(scaled, header_unit, channel, table, options)
        return amperes, [note, *notes], known
    if (unit and unit.kind == "code") or _is_codes(values, table):
        raise CaptureRefused(
            "raw-codes",
            f"{channel.name} holds converter codes and the header doesn't say what one is worth; "
            "export values in A or V.",
        )
    return _of_unit(values, unit, channel, table, options)


def _header_unit(table: Table, channel: Column) -> SignalUnit | None:
    """The header's vertical unit, which speaks for a channel that has none of its own."""
    if channel.unit_text:
        return None
    return UNITS.get(table.header.value_unit or "")


def _is_codes(values: np.ndarray, table: Table) -> bool:
    """Whole numbers are codes, whatever unit the header states, where it says what one is worth, or describes
    a screen that they are taller than."""
    per_division, worth = table.header.volts_per_division, table.header.code_scale
    if (per_division is None and worth in (None, 1.0)) or not len(values):
        return False
    finite = values[np.isfinite(values)]
    if not len(finite) or not np.array_equal(finite, np.round(finite)):
        return False
    if worth not in (None, 1.0):
        return True
    return bool(finite.max() - finite.min() > SCREEN_DIVISIONS * abs(per_division or 0.0))


def _of_unit(
    values: np.ndarray, unit: SignalUnit | None, channel: Column, table: Table, options: Options
) -> tuple[np.ndarray, list[Note], bool]:
    notes: list[Note] = []
    if unit and unit.kind == "current":
        if options.probe_v_per_a is not None:
            notes.append(file_notes.probe_not_used(channel.name, unit.symbol))
        return values * unit.factor if unit.factor != 1 else values, notes, True
    probe = options.probe_v_per_a
    if probe is None and table.header.probe_v_per_a:
        probe = table.header.probe_v_per_a
        notes.append(file_notes.probe_from_header(probe))
    if unit:
        if probe is None:
            raise CaptureRefused(
                "probe-needed",
                f"{channel.name} is in {unit.symbol}; say what the clamp gives with --probe, "
                "for example --probe 100mV/A.",
            )
        notes.append(_probe_note(probe, unit.symbol, table))
        return values * (unit.factor / probe), notes, True
    if probe is not None:
        notes.append(file_notes.volts_assumed())
        notes.append(_probe_note(probe, "V", table))
        return values / probe, notes, True
    mean = running_mean(values)
    if PLAUSIBLE_A[0] <= mean <= PLAUSIBLE_A[1]:
        notes.append(file_notes.amperes_assumed())
        return values, notes, False
    if is_ac_coupled(values) and options.sample_rate_hz and (options.channel or len(table.columns) <= 1):
        return values, notes, False  # speed can be told without a scale; plausibility adds the note
    raise CaptureRefused(
        "unit-needed",
        f"{channel.name} has no unit and a mean of {mean:.4g}, which is no pump's current in A; "
        "say what one ampere gives with --probe (100mV/A for values in V, 1V/A if they are amperes).",
    )


def _probe_note(probe: float, symbol: str, table: Table) -> Note:
    attenuation = table.header.probe_attenuation
    return file_notes.probe_applied(symbol, probe, None if attenuation == 1.0 else attenuation)


def _of_full_scale(values: np.ndarray, options: Options) -> tuple[np.ndarray, list[Note], bool]:
    if options.full_scale_a is None:
        raise CaptureRefused(
            "full-scale-needed",
            "an audio file holds fractions of full scale; say how many amperes that is "
            "with --full-scale, for example --full-scale 10A.",
        )
    note = file_notes.full_scale_applied(options.full_scale_a)
    return values * options.full_scale_a, [note], True
