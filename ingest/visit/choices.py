"""The answers that a question offers, each settled by a tap: the right value, the right unit, or as typed.

"Yes" to "was it read in kilometres?" is the value offered, never the doubtful one itself; that stands only
with a reason. To "what is the right date?" it is no answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from ingest.dates import read_day
from ingest.errors import Question
from ingest.units import KPA_PER_PSI, UNITS, format_quantity, read_quantity
from ingest.visit.clamp_factor import right_times, written
from ingest.visit.entry import VisitEntry
from ingest.wording.language import phrase
from ingest.wording.sentence import READ_WITH

AS_TYPED, WITHDRAW = "as-typed", "withdraw"
_YES = {
    "y",
    "yes",
    "yeah",
    "yep",
    "ok",
    "okay",
    "true",
    "right",
    "correct",
    "sure",
    "1",
    "ja",
    "si",
    "sí",
    "oui",
}
_SLIPS = ("odometer-kilometres", "odometer-miles", "odometer-digit")


@dataclass(frozen=True)
class Choice:
    """One answer. `values`: what it writes (ledger column -> value); `unit`: whose the entry is instead;
    `pump_id`: which pump it was; `held`: the readings it names stay out of the trend; `times`: its current is
    so many times what was read, of a clamp on all days from `since` on and before `until`. None of these: it
    stands as it is. `on_yes`: what the question asks for, so that a bare yes means it."""

    key: str
    label: str
    values: Mapping[str, Any] = field(default_factory=dict)
    unit: str | None = None
    pump_id: int | None = None
    needs_reason: bool = False
    held: bool = False
    times: float | None = None
    since: date | None = None
    until: date | None = None
    on_yes: bool = False

    @property
    def changes(self) -> bool:
        """Whether it puts something right, rather than letting it stand."""
        named = (self.unit, self.pump_id, self.times)
        return bool(self.values) or self.held or any(each is not None for each in named)


def choices(code: str, values: Mapping[str, Any] | None, field_name: str | None = None) -> tuple[Choice, ...]:
    """Return the answers to a question of this kind, made from its values, the one it asks for first.

    field_name: the column it is about, where the code alone doesn't say.
    """
    told = dict(values or {})
    variant = told.pop("variant", "")
    offer = _OFFERS.get((code, variant)) or _OFFERS.get((code, ""))
    if offer is None and code.startswith("odometer-"):
        offer = _other_unit
    offered = tuple(offer(code, told, field_name or "")) if offer and told else ()
    if any(choice.key == AS_TYPED for choice in offered):
        return offered
    return (*offered, Choice(AS_TYPED, _as_typed(code, told), needs_reason=True))


def choices_of(question: Question) -> tuple[Choice, ...]:
    """Return the answers to a question that has just arisen."""
    return choices(question.code, question.values, column_of(question.field))


def column_of(field_name: str | None) -> str | None:
    """Return the ledger's column of the field that a question names."""
    return "visited_on" if field_name == "date" else field_name


def settled_by(question: Question, answer: str) -> bool:
    """Return whether an answer lets the entry stand: a reason does, a bare yes only where just that is asked,
    as of a new unit ("add it?")."""
    if not says_yes(answer):
        return bool(answer.strip())
    meant = meant_by_yes(question)
    return meant is not None and not meant.changes


def meant_by_yes(question: Question) -> Choice | None:
    """Return the answer that a bare yes is, None where the question is none to be answered so."""
    return next((choice for choice in choices_of(question) if choice.on_yes), None)


def says_yes(answer: str) -> bool:
    """Return whether an answer is a bare yes, which is no reason."""
    return answer.strip().strip(".!").lower() in _YES


def corrected(entry: VisitEntry, question: Question, choice: Choice) -> VisitEntry:
    """Return an entry as the chosen answer puts it."""
    if choice.unit is not None:
        return replace(entry, unit=choice.unit)
    values = dict(choice.values)
    if "odometer_km" in values and question.values and entry.odometer_km is not None:
        # The question counts what was driven before a replaced cluster; the entry is what the new one shows.
        values["odometer_km"] -= float(question.values["km"]) - entry.odometer_km
    return replace(entry, **values)


def typed_anew(entry: VisitEntry, question: Question, text: str, own: str | None) -> VisitEntry | None:
    """Return an entry with the odometer or day in question typed anew; None for a question of another field.

    own: the unit of a bare number, None where it must carry its own. Raises EntryRefused for what is neither.
    """
    if question.field == "odometer":
        read = read_quantity(text, "distance", default_unit=own, field=question.code)
        return replace(entry, odometer_km=read.value, odometer_entered=read.entered, odometer_unit=read.unit)
    if question.field == "date":
        return replace(entry, visited_on=read_day(text, field=question.code))
    return None


def _as_typed(code: str, told: Mapping[str, Any]) -> str:
    if code.startswith("odometer-") and told.get("km") is not None:
        return phrase("As typed, {value}", value=format_quantity(told["km"], told.get("unit") or "km"))
    return phrase("As typed")


def _slip(code: str, told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    """A reading in the other unit, converted twice, or with a wrong digit."""
    unit, likely_km = str(told["unit"]), float(told["likely_km"])
    meant = {"odometer-kilometres": "km", "odometer-miles": "mi"}.get(code, unit)
    shown = format_quantity(likely_km, unit)
    if meant != unit:
        number = round(float(told["km"]) / UNITS[unit].factor, 6)
        label = phrase("It was in km: {value}" if meant == "km" else "It was in miles: {value}", value=shown)
    else:
        meant, number = unit, round(likely_km / UNITS[unit].factor, 6)
        label = phrase("It is {value}", value=shown)
    values = {"odometer_km": likely_km, "odometer_entered": number, "odometer_unit": meant}
    yield Choice("value", label, values, on_yes=True)
    yield from _other_unit(code, told, name)


def _other_unit(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    like = told.get("like") or told.get("other_unit")
    if like:
        yield Choice("unit", phrase("It is unit {unit}", unit=like), unit=str(like))


def _that_unit(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    unit = str(told["like"])
    yield Choice("unit", phrase("It is unit {unit}", unit=unit), unit=unit, on_yes=True)


def _which_of_two(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice(AS_TYPED, phrase("It is unit {unit}", unit=told["unit"]), on_yes=True)
    yield Choice("unit", phrase("It is unit {unit}", unit=told["like"]), unit=str(told["like"]))


def _two_units(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice(AS_TYPED, "They are two")
    yield Choice("unit", f"Both are unit {told['like']}", unit=str(told["like"]))


def _new_or_like(code: str, told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    yield from _other_unit(code, told, name)
    yield Choice(AS_TYPED, f"Unit {told['unit']} is a new one")


def _add(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    added = phrase("Add unit {unit}", unit=told["unit"]) if "position" not in told else phrase("Add the pump")
    yield Choice(AS_TYPED, added, on_yes=True)


def _changed(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    known = told.get("known")
    if known:
        yield Choice("same", phrase("It is {value}", value=known), {"serial": known})
    else:
        yield Choice("same", phrase("It is the same pump"), {"same_pump": True})
    # Last, as a reason typed beside the answers is one for what was typed.
    changed = phrase("It was changed: {serial} is in since {day}", serial=told["serial"], day=told["day"])
    yield Choice(AS_TYPED, changed, on_yes=True)


def _beside(_code: str, _told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice(AS_TYPED, phrase("Store it beside the other"), on_yes=True)


def _psi(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    kpa = float(told["pressure_kpa"]) * KPA_PER_PSI
    values = {"psi": f"{told['pressure_kpa']:.0f}", "kpa": f"{kpa:.0f}"}
    label = phrase("It was in psi: {psi} psi, {kpa} kPa", **values)
    yield Choice("value", label, {"fuel_pressure_kpa": kpa}, on_yes=True)


_IN_UNIT = {
    "pressure-unit": ("fuel_pressure_kpa", "right_kpa", "kPa"),
    "delivery-unit": ("delivery_l_min", "right_l_min", "L/min"),
    "temperature-unit": ("fuel_temp_c", "right_c", "°C"),
    "speed-unit": ("rpm", "right_rpm", "rpm"),
}


def _in_unit(code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    column, right, kept_in = _IN_UNIT[code]
    value = float(told[right])
    shown = f"{value:,.0f}" if abs(value) >= 10 else f"{value:.2f}"
    label = phrase("It is {value}", value=f"{shown} {kept_in}")
    yield Choice("value", label, {column: value}, on_yes=True)


def _across(_code: str, _told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    label = phrase("The meter was across the pump: leave the drop out")
    yield Choice("value", label, {name: None}, on_yes=True)


def _day(_code: str, told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    """Day and month swapped, or last year's."""
    day, today = date.fromisoformat(str(told["day"])), date.fromisoformat(str(told["today"]))
    for key, parts in (
        ("swapped", (day.year, day.day, day.month)),
        ("last-year", (day.year - 1, day.month, day.day)),
    ):
        try:
            meant = date(*parts)
        except ValueError:
            continue
        if meant <= today and meant != day:
            yield Choice(key, phrase("It was {day}", day=meant), {name: meant})


def _year_late(_code: str, told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    """The year before, as January brings it, is the slip that a date of more than a year ago may be."""
    day = date.fromisoformat(str(told["day"]))
    try:
        meant = day.replace(year=day.year + 1)
    except ValueError:  # of a 29 February
        return
    if date.fromisoformat(str(told["later"])) <= meant <= date.today():
        yield Choice("next-year", phrase("It was {day}", day=meant), {name: meant})


def _volts(_code: str, _told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    yield Choice("value", phrase("Leave the volts out"), {name: None})


def _hours(_code: str, _told: Mapping[str, Any], name: str) -> Iterator[Choice]:
    yield Choice("value", phrase("Leave the hours out"), {name: None})


def _same_vehicle(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice("unit", f"It is unit {told['unit']}", unit=str(told["unit"]))


def _shift(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice("held", f"Clamp {told['clamp']} was off: leave these readings out", held=True)
    yield Choice(AS_TYPED, "The pumps did change", needs_reason=True)


def _off(_code: str, _told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice(AS_TYPED, "Leave its readings as they are", needs_reason=True)


def _factor(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    told = {**told, **(told.get(READ_WITH) or {})}
    for key, times in right_times(told).items():
        right_a = told["mean_a"] * times
        shown = f"{right_a:.2f} A"
        if told.get("metered"):
            yield Choice(key, phrase("It is {value}", value=shown), {"meter_a": right_a})
        elif told.get("v_per_a"):
            factor = written(told["v_per_a"] / times)
            said = "With the clamp's own factor, {factor}: {value}" if key == "clamp" else (
                "With the factor {factor}: {value}"
            )  # fmt: skip
            yield Choice(key, phrase(said, factor=factor, value=shown), {"probe": factor}, times=times)
        else:
            yield Choice(key, phrase("It is {value}", value=shown), times=times)


def _segments(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    yield Choice("value", f"It has {told['looks_like']}", {"segments": int(told["looks_like"])})


def _vin(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    if told.get("meant"):
        yield Choice("value", f"It is {told['meant']}", {"vin": told["meant"]})


def _swapped_life(_code: str, told: Mapping[str, Any], _name: str) -> Iterator[Choice]:
    off, on = date.fromisoformat(str(told["removed_on"])), date.fromisoformat(str(told["fitted_on"]))
    values = {"fitted_on": off, "removed_on": on}
    yield Choice("value", f"Swapped: fitted on {off}, removed on {on}", values)


_Offer = Callable[[str, Mapping[str, Any], str], Iterator[Choice]]
_OFFERS: dict[tuple[str, str], _Offer] = {
    **dict.fromkeys([(code, "") for code in _SLIPS], _slip),
    ("similar-unit", "new"): _that_unit,
    ("similar-unit", "both-known"): _which_of_two,
    ("similar-unit", "loaded"): _two_units,
    ("other-unit", ""): _other_unit,
    ("other-unit", "swapped"): _that_unit,
    ("unknown-unit", ""): _new_or_like,
    ("unit-new", ""): _add,
    ("position-new", ""): _add,
    ("pump-new", ""): _add,
    ("pump-changed", ""): _changed,
    ("second-meter-reading", ""): _beside,
    ("pressure-unit", ""): _psi,
    ("pressure-unit", "other"): _in_unit,
    ("pressure-unit", "bar-for-psi"): _in_unit,
    ("delivery-unit", ""): _in_unit,
    ("temperature-unit", ""): _in_unit,
    ("speed-unit", ""): _in_unit,
    ("drop-across", ""): _across,
    ("future-date", ""): _day,
    ("old-date", ""): _year_late,
    ("supply-implausible", ""): _volts,
    ("hours-below-last", ""): _hours,
    ("same-vin", ""): _same_vehicle,
    ("similar-vin", ""): _same_vehicle,
    ("clamp-shift", ""): _shift,
    ("clamp-off", ""): _off,
    ("segments-told", ""): _segments,
    ("probe-factor", ""): _factor,
    ("vin-malformed", "letters"): _vin,
    ("removed-before-fitted", ""): _swapped_life,
}
