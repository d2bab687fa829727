"""What is asked of a value that would be right in another unit, or measured at another place.

Arguments: the value as it stands in the ledger's unit; unit, the one it was read in; right_…, what it is
then; usual_…, what this pump shows or its type is rated for (None: not known).
"""

from __future__ import annotations

from ingest.wording.sentence import question


@question("pressure-unit", "fuel_pressure_kpa", "other")
def pressure_unit(pressure_kpa: float, unit: str, right_kpa: float, usual_kpa: float) -> str:
    """A pressure that would be right in bar, MPa or psi."""
    return (
        f"{pressure_kpa:.3g} kPa is far below this pump's {usual_kpa:.0f} kPa, but {pressure_kpa:.3g} {unit}"
        f" would be {right_kpa:.0f} kPa; was it read in {unit}?"
    )


@question("pressure-unit", "fuel_pressure_kpa", "bar-for-psi")
def pressure_bar_for_psi(pressure_kpa: float, psi: float, right_kpa: float, usual_kpa: float) -> str:
    """A pressure told in psi that would be right in bar."""
    return (
        f"{psi:.2g} psi is {pressure_kpa:.0f} kPa, far below this pump's {usual_kpa:.0f} kPa, but"
        f" {psi:.2g} bar would be {right_kpa:.0f} kPa; was it read in bar?"
    )


@question("delivery-unit", "delivery_l_min")
def delivery_unit(delivery_l_min: float, unit: str, right_l_min: float, usual_l_min: float | None) -> str:
    """A delivery that would be right in litres or gallons an hour."""
    than = "than a pump delivers" if usual_l_min is None else f"than this pump's {usual_l_min:.2g} L/min"
    return (
        f"{delivery_l_min:.3g} L/min is far more {than}, but {delivery_l_min:.3g} {unit} would be"
        f" {right_l_min:.2g} L/min; was it read in {unit}?"
    )


@question("temperature-unit", "fuel_temp_c")
def temperature_unit(fuel_temp_c: float, right_c: float, usual_c: float | None) -> str:
    """A temperature of the fuel that would be right in °F."""
    usual = "" if usual_c is None else f" where this unit's was about {usual_c:.0f} °C"
    return (
        f"{fuel_temp_c:.0f} °C is hot for fuel{usual}, but {fuel_temp_c:.0f} °F would be {right_c:.0f} °C;"
        " was it read in °F?"
    )


@question("speed-unit", "rpm")
def speed_unit(rpm: float, right_rpm: float, usual_rpm: float) -> str:
    """A speed that would be right in turns a second."""
    return (
        f"{rpm:,.0f} rpm is far below this pump's {usual_rpm:,.0f} rpm, but {rpm:,.0f} turns a second would"
        f" be {right_rpm:,.0f} rpm; was it read so?"
    )


@question("speed-unit", "rpm", "digit")
def speed_digit(rpm: float, right_rpm: float, usual_rpm: float) -> str:
    """A speed ten times, or a tenth of, what this pump turns at."""
    times = "about ten times" if rpm > usual_rpm else "about a tenth of"
    return (
        f"{rpm:,.0f} rpm is {times} this pump's {usual_rpm:,.0f} rpm; is it {right_rpm:,.0f} rpm, with a"
        " digit too many or too few?"
    )


@question("drop-across", "drop_supply_v")
def drop_supply_across(drop_v: float, supply_v: float) -> str:
    """A voltage drop that would leave the pump nothing, or need twice the battery."""
    return _across(drop_v, supply_v)


@question("drop-across", "drop_ground_v", "ground")
def drop_ground_across(drop_v: float, supply_v: float) -> str:
    """The same on the ground side."""
    return _across(drop_v, supply_v)


def _across(drop_v: float, supply_v: float) -> str:
    return (
        f"A drop of {drop_v:.3g} V can't be beside {supply_v:.3g} V and a running pump: was the meter across"
        " the pump, not along its wire?"
    )
