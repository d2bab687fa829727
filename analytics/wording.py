"""The words of what is concluded about pumps and plans: by code, a sentence with places for its values.

What is handed on is a code and values; each reader words it from here, in the language in use (catalogues go
by the English sentence, `ingest.wording.language`). Findings and next tests have their words in the tables of
trade rules and steps (`analytics/judging`), by the ids of these.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from string import Formatter
from typing import Any

import numpy as np
import pandas as pd

from ingest.wording.language import phrase, template

# Clauses of the reason of a pump's risk, put together by `reason_template`.
HEADS = {
    "idle": "Its last reading says that it doesn't do its work, which this leaves out: ",
    "risk": "{risk_pct:,} % chance of failing within {horizon}",
    "risk-under-1": "Under 1 % chance of failing within {horizon}",
    "risk-over-99": "Over 99 % chance of failing within {horizon}",
    "fleet": " (fleet {fleet_pct} %)",
    "fleet-under-1": " (fleet under 1 %)",
}
FIRST_PART = {"points": "{points} points from {what}", "one-point": "{points} point from {what}"}
FURTHER_PART = "{points} from {what}"
WEAR = {
    "wear-by-type": "wear as its type shows at this distance",
    "wear-speed-falls": "speed falling on good volts",
    "wear-ripple-rises": "ripple rising",
    "wear-usual": "usual wear",
}
DAMAGES = {
    "drag": "drag",
    "hydraulic": "hydraulic wear",
    "commutator": "commutator damage",
    "brush": "brush damage",
}
ONSETS = {
    "started": "{what} that has probably started",
    "may-have-started": "{what} that may have started",
    "may-start": "{what} that may start",
}
AFTER_PARTS = {
    "sudden": "{points_sudden:,} unpredictable",
    "alike": "; of {n_alike:,} past readings rated like this, {k_failed:,} were followed by a failure",
    "alike-one": "; of {n_alike:,} past readings rated like this, {k_failed:,} was followed by a failure",
}
BESIDE = {
    "no-reading": " No reading yet: told from type and distance alone.",
    "one-reading": " One reading only: its level against its type.",
    "by-type": " {prior_share_pct:,} % of this rests on its type, not on its own readings.",
    "no-failure": " This fleet has seen no failure yet, so failure levels are trade experience.",
    "one-failure": " This fleet has seen only {fleet_failures} failure yet, so failure levels are trade "
    "experience.",
    "few-failures": " This fleet has seen only {fleet_failures} failures yet, so failure levels are trade "
    "experience.",
    "age-unknown": " Nobody knows when this pump was fitted.",
    "restarted": " Its readings fell as if the pump had been changed without record: it counts as new since.",
    "heals": " Its ripple falls, which no pump does: check clamp, pump and unrecorded work.",
}

CLAUSES = ("at", "over")  # places that another sentence fills, by its code, or nothing
PERCENTS = ("share_pct", "year_pct")  # places of OF_FORECASTS that no forecast fills with all or nothing
OF_FORECASTS = ("change-after-drops", "check-and-change", "mend-and-change", "pays")
SENTENCES = {
    # what follows from a reason
    "next": "{reason} Next: {action}",
    "pays": "{reason} Why at so low a risk: left in, {year_pct} % of such pumps fail within a year, which "
    "costs {failure:,.0f} {currency} each; a change costs {planned:,.0f} and is made only where the look "
    "before it still calls for it. Leaving this one for a later stop is reckoned to cost {saved:,.0f} more.",
    "down": "Down since {day}. {finding} Next: {action}",
    "left-unknown": "a distance nobody knows: it has run longer than any pump seen",
    "left-more-than": "more than {distance}, longest seen",
    # what to do about a pump, and when
    "at-now": "now, while it is in the bay",
    "at-extra-stop": "at a stop of its own",
    "at-next-stop": "at the next stop",
    "over-ceiling": ", for the risk ceiling of its class is passed",
    "change-failed": "Change it: it no longer works.",
    "change-finding-stays": "Change it {at}{over}: the finding stays and nothing else explains it.",
    "change-after-check": "Change it {at}{over}: its check is done, and a change still pays.",
    "change-after-drops": "Zero, drops and a new capture first; change it {at}{over} if they bear it out "
    "({share_pct} % end in a change).",
    "change-after-capture": "Capture it first: its last visit on record is {days} days ago, longer than its "
    "interval; zero and drops with it, then change it {at}{over} if that reading bears it out.",
    "change-never-captured": "Capture it first: it has never been read; zero and drops with it, then change "
    "it {at}{over} if that reading bears it out.",
    "check-and-change": "Check it {at} and change it unless the check says otherwise{over} "
    "({share_pct} % end in a change).",
    "mend-and-change": "Mend what was found {at} and capture again; change it unless that clears the reading"
    "{over} ({share_pct} % end in a change).",
    "watch-finding": "The finding is confirmed, but a change does not pay yet: capture at half the usual "
    "interval.",
    "watch-risk": "The risk is high, but no reading orders a change: capture at half the usual interval.",
    "booked": "Booked by a person: {reason}.",
    "booked-unexplained": "Booked by a person: no reason given.",
    # what is said beside a plan
    "as-of": "As of {day}, the day of the newest fact on record: nothing later is known.",
    "placeholder-prices": "Costs and savings rest on placeholder prices that no one has confirmed: {names}.",
    "saving-on-few-failures": "Failures on record: {number}. With so few, how long pumps live is taken "
    "mostly from other fleets: where they live longer, the saving is told too high.",
    "mostly-later": "Left in, {soon:.1f} of the {number} pumps to be changed are expected to fail before "
    "their next stops, {year:.1f} within a year: a pump is changed where running on costs more than a new "
    "one, and most of that lies beyond the next stop.",
    "finding-demanded": "A finished finding is demanded before every change (setting "
    "demand_finished_finding): for {number} pumps that costs {cost:,.0f} {currency} more than what would be "
    "done without, as reckoned here.",
    "no-stock": "No stock is on record, so every part is taken to be ordered.",
    "no-bays": "No bay hours are on record, so every stop is taken to have room.",
    "day-past": "The day booked for unit {names} is past: mark it done or move it.",
    "days-past": "The days booked for {number} units are past: mark them done or move them ({names}).",
    "booked-after-retirement": "Unit {unit} is booked for {day}, but retires on {retires_on}.",
    "booked-closed-day": "Unit {unit} is booked for {day}, a closed day at depot {depot}.",
    "old-readings": "Pumps planned whose last visit on record is longer ago than their interval: {number} of "
    "{of}. Load what happened since, or capture them before anything is changed.",
    "booked-over-hours": "The bay of depot {depot} is over by {hours:.1f} h in the week of {week}, with unit "
    "{names} booked there.",
    "bookings-over-hours": "The bay of depot {depot} is over by {hours:.1f} h in the week of {week}, with "
    "{number} units booked there ({names}).",
    "not-proven": "Time ran out: the assignment may cost up to {gap_pct:.2f} % more than the best.",
    # what is said beside a cost review
    "cost-placeholder-prices": "These figures rest on placeholder prices that no one has confirmed: {names}.",
    "planned-costs-nothing": "A planned replacement costs nothing by these prices; enter what it costs.",
    "failure-no-dearer": "An on-failure replacement ({failure:,.0f}) costs no more than a planned one "
    "({planned:,.0f}), so on cost alone no pump is worth changing before it fails.",
    "lives-of-practice": "No failure is on record yet: lives are taken from practice alone, and the figures "
    "say what would follow, not what this fleet has shown.",
    "failures-before-records": "Failures from before their units' records begin: {count}. Lives leave them "
    "out, for nobody said that all were written down then. Where they were, give the day since when in "
    "vehicles.csv, records_from, and load it again.",
    "lives-of-one-failure": "Only 1 failure is on record: {share_pct:.0f} % of what is said about ageing is "
    "practice, not this fleet.",
    "lives-of-few-failures": "Only {count} failures are on record: {share_pct:.0f} % of what is said about "
    "ageing is practice, not this fleet.",
    "lives-agree": "Running to failure costs {simulated:,.0f} {per} by simulation ({low:,.0f} to "
    "{high:,.0f}) and {recorded:,.0f} by the lives on record, within that range.",
    "lives-disagree": "Running to failure costs {simulated:,.0f} {per} by simulation ({low:,.0f} to "
    "{high:,.0f}) and {recorded:,.0f} by the lives on record, outside that range: two descriptions of life "
    "disagree, and all ranges hold both.",
    "model-as-true": "Policies are simulated from the fitted model, taken as true, which flatters the "
    "condition rule; the forecast record shows how forecasts did on this fleet.",
    "saving-of-a-policy": "The saving here is of a policy kept up year after year, by the fleet's distance; "
    "the plan's saving is of the jobs on its list alone, each against leaving that pump to fail. Neither is "
    "part of the other.",
    "step-clamp": "From {day} on, the {metric} of {pumps} pumps read with clamp {name} is {share_pct} % "
    "{more}, of all together: that is taken as the reading's, not the pumps'. Find out what changed.",
    "step-depot": "From {day} on, the {metric} of {pumps} pumps at depot {name} is {share_pct} % {more}, of "
    "all together: that is taken as the reading's or the fuel's, not the pumps'. Find out what changed.",
    "step-fleet": "From {day} on, the {metric} of {pumps} pumps is {share_pct} % {more}, of all together: "
    "that is taken as the reading's or the fuel's, not the pumps'. Find out what changed.",
    # why work is not on a plan
    "not-working": "the last reading says that the engine may get no fuel: take the next step today, "
    "whatever the risk",
    "finding-not-worth": "the finding is confirmed, but a change does not pay yet",
    "no-safer": "the risk is high, but a new pump would be no safer",
    "risk-not-worth": "the risk is high, but neither a check nor a change pays yet",
    "step-not-worth": "its reading asks for a step that does not pay for a job of its own",
    "retires-first": "the unit retires on {day}, before any stop that could be made",
    "beyond-horizon": "its next stop, on {day}, lies beyond the {days} days planned, and waiting for it "
    "costs {saved:,.0f} {currency} less than a stop of its own: it comes into a later list",
    "no-stop": "the unit has no stop within {days} days",
    "no-part": "no part is on hand and one takes {days} days, longer than its last stop is off",
    "no-hours": "depot {depot} has no bay hours left in the weeks of its stops",
    "others-first": "bay hours or parts at its stops go to pumps that cost more to leave",
    # what changed since the last list
    "action-now": "its action is now '{action}' at a risk of {risk_pct:.0f} %",
    "person-booked": "a person booked it",
    "person-moved": "a person moved it",
    "person-rejected": "a person rejected it",
    "was-done": "it was done",
    "out-of-service": "the pump is no longer in service: taken off, sold or retired",
    "not-fitted": "it can't be fitted any more",
    "prices-changed": "prices changed",
    "places-changed": "stops, bay hours or parts changed",
    "risk-went": "its risk went from {before_pct:.0f} % to {after_pct:.0f} %",
    "risk-fell": "its risk went from {before_pct:.0f} % to {after_pct:.0f} %, so it no longer pays",
    "risk-fell-with-reading": "its risk went from {before_pct:.0f} % to {after_pct:.0f} % with the reading "
    "of {day}, so it no longer pays",
    "no-longer-pays": "it no longer pays",
}  # fmt: skip


@dataclass(frozen=True)
class Remark:
    """Something said: its code in SENTENCES and the values of the sentence, as JSON holds them."""

    code: str
    values: Mapping[str, Any] = field(default_factory=dict)

    @property
    def text(self) -> str:
        """The sentence, in the language in use."""
        return say(self.code, **self.values)


def remark(code: str, **values: Any) -> Remark:
    """Return a remark; a day is kept as ISO text, a figure as a plain number."""
    return Remark(code, {name: _plain(value) for name, value in values.items()})


def booked(reason: object) -> Remark:
    """Return what stands where a person has booked a replacement; reason: theirs, None without."""
    if reason is None or reason != reason:
        return remark("booked-unexplained")
    return remark("booked", reason=str(reason))


def say(code: str, **values: Any) -> str:
    """Return the sentence of a code with its values, of which those by CLAUSES are codes themselves."""
    told = {k: (say(v) if v else "") if k in CLAUSES else v for k, v in values.items()}
    if code in OF_FORECASTS:
        told |= {name: whole_percent(values[name]) for name in PERCENTS if name in values}
    return phrase(SENTENCES[code], **told)


def whole_percent(percent: float) -> str:
    """Return 18.3 as "18"; what would round to all or to nothing is "over 99" or "under 1": so sure is no
    forecast."""
    whole = round(percent)
    if 0 < whole < 100:
        return f"{whole}"
    return phrase("over 99") if whole else phrase("under 1")


def remark_columns(name: str, remarks: Sequence[Remark]) -> dict[str, list[Any]]:
    """Return what a table keeps of remarks: the sentences by that name, and their codes and values."""
    return {
        name: [each.text for each in remarks],
        f"{name}_code": [each.code for each in remarks],
        f"{name}_values": [dict(each.values) for each in remarks],
    }


def reasons_in_words(codes: np.ndarray, values: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return sentences (n,) from the clauses' codes, blank between them (n,), and values by place, (n,) each.

    A template is put together once for each combination of clauses, a sentence once for its values.
    """
    out = np.empty(len(codes), dtype=object)
    which, keys = pd.factorize(codes)
    order = np.argsort(which, kind="stable")
    ends = np.searchsorted(which[order], np.arange(len(keys)), side="right")
    for key, rows in zip(keys, np.split(order, ends[:-1]), strict=False):
        sentence = reason_template(key)
        names = places(sentence)
        columns = [values[name][rows].tolist() for name in names]
        told = list(zip(*columns, strict=True))
        said = {of: sentence.format(**dict(zip(names, of, strict=True))) for of in set(told)}
        out[rows] = [said[of] for of in told]
    return out


def reason_template(codes: str) -> str:
    """Return the sentence that a reason's clauses make, with places for its values."""
    head, parts, after, beside, first = "", [], "", "", FURTHER_PART
    for code in codes.split():
        if code in HEADS:
            head += template(HEADS[code])
        elif code in FIRST_PART:
            first = FIRST_PART[code]
        elif code in BESIDE:
            beside += template(BESIDE[code])
        elif code == "sudden":
            parts.append(template(AFTER_PARTS[code]))
        elif code in AFTER_PARTS:
            after = template(AFTER_PARTS[code])
        else:
            parts.append(_part(code, first))
            first = FURTHER_PART
    return f"{head}{': ' if parts else ''}{', '.join(parts)}{after}.{beside}"


def _part(code: str, sentence: str) -> str:
    """What one cause adds: `wear-usual`, or a damage and how far it has come, `drag:started`."""
    damage, _, onset = code.partition(":")
    if onset:
        cause, what = damage, template(ONSETS[onset]).format(what=template(DAMAGES[damage]))
    else:
        cause, what = "wear", template(WEAR[code])
    return template(sentence).format(points=f"{{points_{cause}:,}}", what=what)


def places(sentence: str) -> list[str]:
    """Return the names of a sentence's places, each once."""
    return list(dict.fromkeys(name for _, name, _, _ in Formatter().parse(sentence) if name))


def _plain(value: Any) -> Any:
    if hasattr(value, "isoformat"):
        return value.isoformat()[:10]
    return value.item() if hasattr(value, "item") else value
