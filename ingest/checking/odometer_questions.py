"""The sentences in which a doubtful odometer is asked about."""

from __future__ import annotations

from ingest.checking.odometer import Doubt
from ingest.units import UNITS, format_quantity


def odometer_question(doubt: Doubt, km: float, distance_unit: str, last_km: float | None = None) -> str:
    """Return the question for one doubted reading, in the fleet's distance unit.

    A plain sentence with the value, what it may have been, and that a reason settles it.
    """
    value = format_quantity(km, distance_unit)
    likely = format_quantity(doubt.likely_km, distance_unit)
    last = f" (last: {format_quantity(last_km, distance_unit)})" if last_km is not None else ""
    other = "kilometres" if distance_unit == "mi" else "miles"
    number = f"{km / UNITS[distance_unit].factor:,.0f}"
    if doubt.code == "odometer-kilometres":
        if distance_unit == "mi":
            return (
                f"{value}{last}: was {number} read in {other}? That would be {likely}, as this unit drives."
            )
        return f"{value}{last} is 1.609 times what this unit drives to: is it {likely}, converted twice?"
    if doubt.code == "odometer-miles":
        if distance_unit == "km":
            return (
                f"{value}{last}: was {number} read in {other}? That would be {likely}, as this unit drives."
            )
        return f"{value}{last} is what {likely} would be divided by 1.609: was it converted twice?"
    if doubt.code == "odometer-digit":
        return f"{value}{last}: a digit too many, too few, or swapped? {likely} would be as this unit drives."
    if doubt.code == "odometer-below-last":
        return f"{value} is below the unit's last reading{last}; mistyped, another unit, or a new cluster?"
    if doubt.code == "odometer-restarted":
        return f"{value}: the readings start anew here; was the instrument cluster replaced?"
    return f"{value}{last} is much farther than this unit drives in that time; mistyped, or another unit?"
