"""What to do about a pump: the one function behind verdict, rank and plan.

Risk alone never orders a replacement. Booking needs the finding repeated with the zero checked, supply and
ground passed under load, starvation ruled out, and the filter ruled out or not serviceable; a change from the
pump's own baseline needs one of at least two readings. A pump that failed outright skips all that, and a
person may override with a reason.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.facts import number
from analytics.judging.rules import CIRCUIT, FILTER, REPEAT, RULES, STARVATION
from ingest.trade_numbers import DEFAULTS
from ingest.units import format_quantity

ACTIONS = (
    "repeat capture",
    "check circuit",
    "check filter or strainer",
    "shorten interval",
    "book replacement",
    "none",
)
ACTION_OF_STEP = {
    REPEAT: "repeat capture",
    CIRCUIT: "check circuit",
    STARVATION: "check filter or strainer",
    FILTER: "check filter or strainer",
}
TEXT_OF_STEP = {
    REPEAT: "Check the clamp's zero and capture again, to see whether the finding stays.",
    CIRCUIT: "Measure volts and both drops at the pump under load.",
    STARVATION: "Rule out starvation: fuel level, strainer, delivery.",
    FILTER: "Change or check the filter, then capture again.",
}
# Facts that say how far a reading lies from the pump's own baseline.
OWN_CHANGE = {
    "current_fell", "current_fell_far", "current_rose", "current_rose_far", "speed_fell", "speed_fell_far",
    "speed_rose",
}  # fmt: skip
AT_ONCE = ("repeat capture", "check circuit", "check filter or strainer")
NOT_SERVICEABLE = ("module", "none")


def decide_actions(
    judged: pd.DataFrame,
    services: pd.DataFrame | None = None,
    settings: dict[str, Any] | None = None,
    *,
    worth_booking: pd.Series | None = None,
    decisions: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return one row per pump: action, action_text, missing, rule, next_capture_on, next_capture_km.

    `missing` names the steps not yet passed, separated by blanks. The next capture is due on that day or at
    that odometer (km), whichever comes first; the odometer is unknown where the visit's is, and for units
    that go by hours.

    judged: rows from verdict.judge, every visit of each pump up to the day in question.
    services: unit, done_on, work. worth_booking: bool by pump_id, whether cost or a risk ceiling calls for a
    replacement. decisions: pump_id, status, reason, planned_on (newest decision of a person).
    Index: pump_id.
    """
    settings = settings or DEFAULTS
    judged = judged.sort_values(["pump_id", "visited_on", "visit_id"], kind="stable")
    last = judged.groupby("pump_id", sort=True).tail(1).set_index("pump_id")
    evidence = _evidence(judged, last, services, settings)

    action = pd.Series("none", index=last.index, dtype=object)
    text = pd.Series("No action.", index=last.index, dtype=object)
    missing = pd.Series("", index=last.index, dtype=object)
    for rule in RULES:
        mine = (last["rule"] == rule.id).to_numpy()
        if not mine.any() or (not rule.steps and not rule.books):
            continue
        left = [(step, mine & ~evidence[step].to_numpy()) for step in rule.steps]
        for step, lacks in left:
            missing = missing.where(~lacks, missing + " " + step)
        done = mine.copy()
        for step, lacks in left:
            now = done & lacks
            action[now], text[now] = ACTION_OF_STEP[step], TEXT_OF_STEP[step]
            done &= ~lacks
        book = done & rule.books
        if OWN_CHANGE.intersection(rule.when):
            # One reading may itself be the odd one.
            book &= (last["baseline_count"] > 1).to_numpy()
        if rule.steps or rule.books:
            action[done], text[done] = (
                "shorten interval",
                "Capture at half the usual interval and watch the trend.",
            )
        action[book], text[book] = (
            "book replacement",
            "Book a replacement: the finding stays and nothing else explains it.",
        )

    if worth_booking is not None:
        watch = (
            worth_booking.reindex(last.index, fill_value=False).to_numpy(bool) & (action == "none").to_numpy()
        )
        action[watch] = "shorten interval"
        text[watch] = "The risk is high, but no reading orders a change: capture at half the usual interval."
    if decisions is not None and len(decisions):
        standing = decisions[decisions["status"].isin(["booked", "pinned"])].set_index("pump_id")
        booked = last.index.isin(standing.index)
        reasons = standing["reason"].reindex(last.index[booked]).fillna("no reason given")
        action[booked], text[booked] = "book replacement", "Booked by a person: " + reasons + "."

    usual_days = number(last, "pm_interval_days")
    usual_km = number(last, "pm_interval_km")
    neither = np.isnan(usual_days) & np.isnan(usual_km)
    days = np.where(np.isnan(usual_days), float(settings["next_capture_days"]), usual_days)
    km = np.where(neither, float(settings["next_capture_km"]), usual_km)
    share = np.select([action == "shorten interval", action.isin(AT_ONCE)], [0.5, 0.0], 1.0)
    due = pd.to_datetime(last["visited_on"]) + pd.to_timedelta(np.round(days * share), unit="D")
    due = due.where(~(action == "book replacement"))
    by_hours = (last["clock"] == "hours").to_numpy() if "clock" in last else False
    due_km = np.where(by_hours | due.isna().to_numpy(), np.nan, number(last, "odometer_km") + km * share)
    calm = (action == "none").to_numpy()
    text[calm] = _next_capture(due[calm], due_km[calm], str(settings["distance_unit"]))
    return pd.DataFrame(
        {
            "action": action,
            "action_text": text,
            "missing": missing,
            "rule": last["rule"],
            "next_capture_on": [None if pd.isna(d) else d.date() for d in due],
            "next_capture_km": [None if np.isnan(x) else float(x) for x in due_km],
        }
    )


def _next_capture(day: pd.Series, odometer_km: np.ndarray, unit: str) -> np.ndarray:
    days = np.datetime_as_string(day.to_numpy("datetime64[D]"))
    texts = [
        f"No action; next capture by {day}."
        if np.isnan(km)
        else f"No action; next capture by {day} or at {format_quantity(km, unit)}, whichever comes first."
        for day, km in zip(days, odometer_km, strict=True)
    ]
    return np.array(texts, dtype=object)


def _evidence(
    judged: pd.DataFrame, last: pd.DataFrame, services: pd.DataFrame | None, settings: dict[str, Any]
) -> pd.DataFrame:
    """Return by pump whether each step has been passed for the finding of its last visit."""
    rule_of_pump = judged["pump_id"].map(last["rule"]).to_numpy()
    same = np.zeros(len(judged), bool)
    for rule in RULES:
        mine = rule_of_pump == rule.id
        same[mine] = judged[f"rule:{rule.id}"].to_numpy()[mine]
    # The unbroken run of visits, back from the last, that show the last visit's finding.
    backwards = judged["pump_id"].to_numpy()[::-1]
    run = pd.Series(same[::-1]).groupby(backwards).cummin().to_numpy()[::-1].astype(bool)
    in_run = judged[run].groupby("pump_id")
    first_seen = pd.to_datetime(in_run["visited_on"].first()).reindex(last.index)
    times_seen = in_run.size().reindex(last.index, fill_value=0)

    visited = pd.to_datetime(judged["visited_on"])
    since = pd.to_datetime(last["visited_on"]) - pd.Timedelta(days=int(settings["steps_valid_days"]))
    # A circuit that passed before the finding appeared excludes nothing.
    recent = run & (visited.to_numpy() >= judged["pump_id"].map(since).to_numpy())
    circuit = (judged["supply_good"] & judged["drops_passed"] & recent).groupby(judged["pump_id"]).max()

    filter_changed = pd.to_datetime(last["filter_changed_on"]) >= first_seen
    cleaned = pd.Series(False, index=last.index)
    if services is not None and len(services):
        tank = services[services["work"] == "tank_cleaned"].groupby("unit")["done_on"].max()
        cleaned = pd.to_datetime(last["unit"].map(tank.to_dict())) >= first_seen
    starves_first = last["rule"].map({r.id: r.steps[:1] == (STARVATION,) for r in RULES}).astype(bool)
    return pd.DataFrame(
        {
            REPEAT: (times_seen >= 2) & last["zeroed"],
            CIRCUIT: circuit.reindex(last.index, fill_value=False).astype(bool),
            STARVATION: last["fuel_level_good"]
            & (~starves_first | last["delivery_good"] | cleaned | filter_changed),
            FILTER: last["filter"].isin(NOT_SERVICEABLE) | filter_changed,
        }
    )
