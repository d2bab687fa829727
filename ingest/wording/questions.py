"""What a person is asked about an entry or a loaded row; `odometer_questions` has those about odometers."""

from __future__ import annotations

from ingest.units import KPA_PER_PSI, format_quantity
from ingest.wording.options import without_options
from ingest.wording.sentence import question


@question("mangled-identifier", "unit")
def mangled_identifier(value: str) -> str:
    """A unit or serial that looks like a spreadsheet's date or number."""
    return f"'{value}' looks like an identifier that a spreadsheet has changed; is it right?"


@question("similar-unit", "unit", "new")
def new_but_similar(unit: str, like: str) -> str:
    """A new name that is almost another's."""
    return f"Unit {unit} is new, but unit {like} is on record; is it that one?"


@question("similar-unit", "unit", "both-known")
def which_of_two_units(unit: str, like: str) -> str:
    """Two names that differ little, and nothing shows which is meant."""
    return f"There are a unit {unit} and a unit {like}; is it {unit}?"


@question("similar-unit", "unit", "loaded")
def written_almost_alike(unit: str, like: str) -> str:
    """Two names in a folder that differ little."""
    return f"Unit {unit} is written almost like unit {like}; they are kept apart. Are they two?"


@question("other-unit", "unit")
def other_unit(unit: str, like: str) -> str:
    """A reading that fits another unit's odometer and current."""
    return (
        f"This does not look like unit {unit}, but like unit {like}: its odometer stood there then"
        " and its pump draws such a current. Which unit is it?"
    )


@question("other-unit", "unit", "swapped")
def units_swapped(unit: str, like: str) -> str:
    """Two units of one week, each at the odometer of the other."""
    return (
        f"Units {unit} and {like} seem to be swapped here: each one's odometer stands where the other's"
        f" should. Is this one unit {like}?"
    )


@question("unknown-unit", "unit")
def unknown_unit(unit: str, like: str | None) -> str:
    """A unit that is named and nowhere described."""
    meant = "Is it a new one?" if like is None else f"Is it unit {like}, or a new one?"
    return f"Unit {unit} is not in vehicles.csv nor in the ledger; a vehicle was added. {meant}"


@question("unknown-unit", "unit", "goes-on")
def renumbered_unit(unit: str, like: str) -> str:
    """A unit that is described nowhere and goes on where another ends."""
    return (
        f"Unit {unit} is not in vehicles.csv nor in the ledger; a vehicle was added. Its odometer goes on"
        f" where unit {like}'s ends: is it unit {like} under a new number, or a new one?"
    )


@question("unit-new", "unit")
def new_unit(unit: str, pump_type: str | None) -> str:
    """The first entry of a unit."""
    return f"Unit {unit} is not in the ledger: add it with {_a_pump(pump_type)}?"


@question("position-new", "position")
def new_position(unit: str, position: str | None, pump_type: str | None) -> str:
    """The first entry of a position."""
    return f"Unit {unit} has no pump in position {position or 'main'}: add {_a_pump(pump_type)}?"


@question("pump-new", "unit")
def new_pump(unit: str, position: str | None, serial: str | None, day: str, pump_type: str | None) -> str:
    """No pump that this visit can belong to."""
    which = f" with serial {serial}" if serial else ""
    return (
        f"The ledger knows no pump{which} in position {position or 'main'} of unit {unit} on {day}:"
        f" add {_a_pump(pump_type)}?"
    )


@question("pump-changed", "serial")
def changed_pump(unit: str, position: str | None, serial: str, day: str, known: str | None) -> str:
    """A serial that is not that of the pump in service."""
    place = f"position {position or 'main'} of unit {unit}"
    if known is None:
        return (
            f"Nobody has told the serial of the pump in {place}, and on {day} it is {serial}:"
            " was the pump changed?"
        )
    return f"The pump in {place} has serial {known} on record, not {serial}: was it changed by {day}?"


def _a_pump(pump_type: str | None) -> str:
    return f"a pump of {pump_type or 'unknown'} type, fitted on an unknown date"


@question("future-date", "date")
def future_date(day: str, today: str) -> str:
    """A fact from tomorrow."""
    return f"{day} is after today, {today}; what is the right date?"


@question("old-date", "date")
def old_date(day: str, later: str) -> str:
    """An entry of long ago for a unit that was seen since."""
    return f"{day} is more than a year ago and the unit was here on {later}; is it the right date?"


@question("hours-below-last", "hours")
def hours_below_last(hours: float, last: float) -> str:
    """Engine hours that run backwards."""
    return f"{hours:,.0f} hours are below the unit's last, {last:,.0f}; mistyped, or a new meter?"


@question("supply-implausible", "supply_v")
def supply_implausible(supply_v: float, system_v: float) -> str:
    """Volts of another system."""
    return f"{supply_v:g} V is far from this unit's {system_v:g} V system; is it right?"


@question("pressure-unit", "fuel_pressure_kpa")
def pressure_in_psi(pressure_kpa: float, rated_kpa: float) -> str:
    """A pressure that would be right in psi."""
    return (
        f"{pressure_kpa:.0f} kPa is far below the rated {rated_kpa:.0f} kPa, but {pressure_kpa:.0f} psi"
        f" would be {pressure_kpa * KPA_PER_PSI:.0f} kPa; was it read in psi?"
    )


@question("probe-factor", "mean_a", "unlikely")
def current_unlikely(mean_a: float) -> str:
    """A current that no pump draws."""
    return f"{format_quantity(mean_a, 'A')} is unlikely for a fuel pump; is the probe factor or range right?"


@question("probe-factor", "mean_a", "off-level")
def current_off_level(mean_a: float, level_a: float) -> str:
    """A current about ten times, or a tenth of, what this pump draws."""
    times = f"{mean_a / level_a:.0f} times" if mean_a > level_a else f"1/{level_a / mean_a:.0f} of"
    return (
        f"{format_quantity(mean_a, 'A')} is about {times} this pump's level, {format_quantity(level_a, 'A')};"
        " is the probe factor or range right?"
    )


@question("second-meter-reading", "meter_a")
def second_meter_reading(unit: str, day: str, visit_id: int, known_a: float, meter_a: float) -> str:
    """Two meter readings of one pump on one day."""
    return (
        f"Unit {unit} already has a meter reading of {known_a:g} A on {day} (visit {visit_id}):"
        f" store {meter_a:g} A beside it?"
    )


@question("capture-refused", "capture")
def capture_not_taken(refusal: str) -> str:
    """A file that can't be measured; refusal: why, as it was said."""
    named = "--channel" in refusal or "--probe" in refusal
    by = " In a folder the columns channel and probe of visits.csv say so, or the entry of its clamp."
    return f"The capture was not taken: {without_options(refusal)}{by if named else ''}"


@question("capture-elsewhere", "capture")
def capture_elsewhere() -> str:
    """The same samples at two visits."""
    return "These very samples belong to another visit already; which visit were they captured at?"


@question("clamp-shift", "clamp")
def clamp_shifted(clamp: str, day: str, pumps: int, pct: float, visits: list[int]) -> str:
    """Many pumps that changed alike on one day, all measured with one clamp."""
    more = "more" if pct > 0 else "less"
    return (
        f"On {day}, {pumps} pumps measured with clamp {clamp} drew about {abs(pct):.0f} % {more} than each"
        " did before, nearly all of them alike: was the clamp off? Their readings are held (visits"
        f" {', '.join(map(str, visits))})."
    )


@question("clamp-off", "clamp")
def clamp_off(clamp: str, day: str, known_a: float, read_a: float, within_a: float) -> str:
    """A check on a known current that failed."""
    return (
        f"Clamp {clamp} read {format_quantity(read_a, 'A')} on a known {format_quantity(known_a, 'A')} on"
        f" {day}; it should keep within {format_quantity(within_a, 'A')}. Since when has it been off?"
    )


@question("capture-without-visit", "capture_hash")
def capture_without_visit(waveform: str) -> str:
    """A waveform that is stored and belongs to nothing."""
    return (
        f"The waveform {waveform} was stored but its visit was not: log the visit again from its file, or"
        " dismiss this."
    )


@question("same-vin", "vin")
def same_vin(vin: str, unit: str, other_vin: str) -> str:
    """One identification number for two units."""
    return f"VIN {vin} is the same as unit {unit} ({other_vin}); is it that unit?"


@question("similar-vin", "vin")
def similar_vin(vin: str, unit: str, other_vin: str) -> str:
    """Two numbers one character apart."""
    return f"VIN {vin} is one character off that of unit {unit} ({other_vin}); is it that unit?"


@question("vin-malformed", "vin", "length")
def vin_length(vin: str, characters: int) -> str:
    """Not 17 characters."""
    return f"VIN {vin} has {characters} characters, not 17; which is missing or too many?"


@question("vin-malformed", "vin", "letters")
def vin_letters(vin: str, letters: list[str], meant: str | None) -> str:
    """Characters that no VIN has; meant: what it is with the likely ones for them."""
    hint = f" (did you mean {meant}?)" if meant else ""
    return f"VIN {vin} has {', '.join(letters)}, which a VIN can't have{hint}."


@question("vin-check-digit", "vin")
def vin_check_digit(vin: str, digit: str, wanted: str) -> str:
    """A check digit that does not fit."""
    return f"VIN {vin} has check digit {digit} where {wanted} belongs; one of its characters is wrong."


@question("vin-unchecked", "vin")
def vin_unchecked(vin: str) -> str:
    """The same where no check digit is required."""
    return f"VIN {vin} carries no valid check digit; outside North America it need not."


@question("not-removed", "fitted_on")
def not_removed(fitted_on: str | None) -> str:
    """A pump fitted where another still is."""
    return (
        f"A pump was fitted here on {fitted_on or 'an unknown date'}, and the one before is not marked"
        " removed; when and why was it?"
    )


@question("lives-overlap", "fitted_on")
def lives_overlap(fitted_on: str | None, removed_on: str | None) -> str:
    """Two pumps in one place at a time."""
    return (
        f"Fitted on {fitted_on or 'an unknown date'}, before the pump in this position was removed"
        f" ({removed_on or 'date unknown'}); which date is right?"
    )


@question("serial-twice", "fitted_on")
def serial_twice(serial: str, unit: str, position: str, fitted_on: str | None) -> str:
    """One pump in two places at a time."""
    return (
        f"Serial {serial} was also in unit {unit}, position {position}, on {fitted_on or 'an unknown date'};"
        " where was it?"
    )


@question("removal-undated", "removed_on")
def removal_undated() -> str:
    """A reason for a removal and no day."""
    return "It says why the pump came off, but not when; it counts as in service. When was it?"


@question("removed-before-fitted", "removed_on")
def removed_before_fitted(removed_on: str, fitted_on: str) -> str:
    """A life that ends before it begins."""
    return f"Removed on {removed_on}, before it was fitted on {fitted_on}; which is right?"


@question("unknown-pump-type", "pump_type")
def unknown_pump_type(pump_type: str) -> str:
    """A pump type that is named and nowhere described."""
    return f"Pump type {pump_type} is in no pump_types.csv; what is its specification?"


@question("segments-told", "segments")
def segments_told(pump_type: str, told: int, looks_like: int, contradicting: int, captures: int) -> str:
    """Captures of a pump type that contradict the segments told of it."""
    return (
        f"{contradicting} of {captures} captures of pump type {pump_type} look like {looks_like} segments,"
        f" and {told} are told of it; how many has it? (Once it is put right, 'pumpledger reanalyse' measures"
        " them again.)"
    )


@question("implied-pump", "serial")
def implied_pump(unit: str, position: str, day: str, serial: str | None) -> str:
    """A visit where no pump is on record."""
    which = f"serial {serial}" if serial else "no serial"
    return (
        f"Unit {unit} has no pump on record in position {position} on {day} ({which});"
        " one of unknown age is taken to be there. Which pump is it?"
    )


@question("outside-pump-life", "visited_on")
def outside_pump_life() -> str:
    """A visit with the serial of a pump that was not there."""
    return "The pump of this serial was not fitted here on that day; which pump was it?"


@question("between-pumps", "visited_on")
def between_pumps() -> str:
    """A visit between two pumps."""
    return (
        "No pump was fitted here on that day, between one's removal and the next one's fitting; which was it?"
    )


@question("changes-lost", "", "entries")
def entries_lost(
    ledger: str, lost: int, of: int, last_visit: int | None, unit: str | None, day: str | None, kept: str
) -> str:
    """Entries of a change file that can't be read; last_visit: the newest that the ledger has."""
    return _opened(
        ledger, f"{lost} of the last {of} changes can't be read (damage)", last_visit, unit, day, kept
    )


@question("changes-lost", "", "bytes")
def bytes_lost(
    ledger: str, lost: int, of: int, last_visit: int | None, unit: str | None, day: str | None, kept: str
) -> str:
    """The end of a change file that can't be read."""
    what = (
        f"the last {lost} of {of} bytes of changes can't be read"
        " (an entry that was being written when the machine stopped, or damage)"
    )
    return _opened(ledger, what, last_visit, unit, day, kept)


def _opened(
    ledger: str, what: str, last_visit: int | None, unit: str | None, day: str | None, kept: str
) -> str:
    last = f"the last visit in it is {last_visit} of unit {unit} on {day}" if last_visit else "it is empty"
    return (
        f"The ledger {ledger} was opened at its last good state: {what}; {last}. Enter later visits"
        f" again if any are missing. A copy was kept as {kept}."
    )


@question("changes-lost", "", "rebuilt")
def rows_lost(tables: list[str], rows: list[int], kept: str) -> str:
    """Rows of a damaged ledger that can't be read, by table."""
    what = ", ".join(f"{count} of {name}" for name, count in zip(tables, rows, strict=True)) or "none"
    return (
        f"The ledger was damaged and was rebuilt; rows that could not be read: {what}. "
        f"The damaged file was kept as {kept}."
    )
