"""What to do about each pump: the finding's action, what risk and a person add to it, and the next capture.

The finding (analytics/judging/finding.py) is the table's word for the last reading; risk alone never orders a
replacement here, and a person may book one with a reason.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.judging.baseline import number
from analytics.judging.finding import decide_findings, last_readings
from analytics.wording import booked, say
from ingest.settings_in_force import Settings
from ingest.trade_numbers import DEFAULTS
from ingest.units import format_quantity
from ingest.wording.language import template

ACTIONS = (
    "repeat capture",
    "check circuit",
    "check filter or strainer",
    "check delivery",
    "shorten interval",
    "book replacement",
    "none",
)
AT_ONCE = ("repeat capture", "check circuit", "check filter or strainer", "check delivery")


def decide_actions(
    judged: pd.DataFrame,
    services: pd.DataFrame | None = None,
    settings: Settings | None = None,
    *,
    worth_booking: pd.Series | None = None,
    decisions: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return one row per pump: what `decide_findings` tells, and action, action_text, rule, next_capture_on,
    next_capture_km (as `next_captures`).

    judged: rows from judge.judge, every visit of each pump up to the day in question. services: unit,
    done_on, work. worth_booking: bool by pump_id, whether cost or a risk ceiling calls for a replacement.
    decisions: pump_id, status, reason, planned_on (newest decision of a person). Index: pump_id.
    """
    settings = settings or DEFAULTS
    last = last_readings(judged, services, settings)
    found = decide_findings(judged, services, settings, last=last)
    action, text = found["finding_action"].copy(), found["next_test"].copy()
    if worth_booking is not None:
        watch = (
            worth_booking.reindex(last.index, fill_value=False).to_numpy(bool) & (action == "none").to_numpy()
        )
        action[watch] = "shorten interval"
        text[watch] = say("watch-risk")
    if decisions is not None and len(decisions):
        standing = decisions[decisions["status"].isin(["booked", "pinned"])].set_index("pump_id")
        mine = last.index.isin(standing.index)
        told = [booked(reason).text for reason in standing["reason"].reindex(last.index[mine])]
        action[mine], text[mine] = "book replacement", told

    due = next_captures(action, last, settings)
    calm = (action == "none").to_numpy()
    text[calm] = _next_capture(due[calm], str(settings["distance_unit"]))
    return found.assign(action=action, action_text=text, rule=last["rule"]).join(due)


def next_captures(action: pd.Series, last: pd.DataFrame, settings: Settings) -> pd.DataFrame:
    """Return next_capture_on and next_capture_km of each pump, None where there is none or it is unknown.

    It is due on that day or at that odometer (km), whichever comes first; the odometer is unknown where the
    visit's is, and for units that go by hours. last: from `last_readings`; action: of ACTIONS, of the same
    pumps.
    """
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
    return pd.DataFrame(
        {
            "next_capture_on": due.dt.date.astype(object).where(due.notna(), None),
            "next_capture_km": pd.Series(due_km, last.index, object).where(~np.isnan(due_km), None),
        }
    )


def _next_capture(due: pd.DataFrame, unit: str) -> list[str]:
    by_day = template("No action; next capture by {day}.")
    either = template("No action; next capture by {day} or at {odometer}, whichever comes first.")
    return [
        by_day.format(day=day) if km is None else either.format(day=day, odometer=format_quantity(km, unit))
        for day, km in zip(due["next_capture_on"], due["next_capture_km"], strict=True)
    ]
