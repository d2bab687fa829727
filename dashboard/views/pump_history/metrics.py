"""The pump history page: current, ripple and speed over distance, with drift and limits ahead."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import streamlit as st

from dashboard.charts import history
from dashboard.data import loaders
from dashboard.shell import address, frame, say
from dashboard.views.pump_history import story
from dashboard.views.pump_history.along import FAN_INTERVALS, Axis
from dashboard.words import formats
from ingest.metrics import Metric, trended
from ingest.settings_in_force import Settings
from ingest.trade_numbers import USUAL_INTERVAL_KM
from ingest.units import KM_PER_MILE, to_kept
from ingest.wording.quantities import minus

if TYPE_CHECKING:
    from analytics.risk.pump_drift import PumpDrift
    from analytics.trend.drift import Drift

READINGS = {"both": "Both", "read": "As read", "reference": "At reference volts"}
FAN_POINTS = 25
PROBABLE = 0.5


def show_metrics(pump: pd.Series, visits: pd.DataFrame, ranked: pd.DataFrame) -> None:
    """Draw the damages as the risk has them, work and events, and the readings, all over one stretch of
    distance; the line of slow drift comes last, as a detail.

    ranked: the pump's row of the ranking; none of one that is out of service.
    """
    settings = loaders.settings()
    rows, axis = placed(visits, settings)
    lines = loaders.pump_drift(int(pump["pump_id"])) if len(rows) else None
    if lines is not None:
        rows, axis = with_reference(rows, axis, lines.visits)
    if not len(rows) or rows["distance"].isna().all():
        say.line("No visit of this pump can be placed by distance yet.")
        return
    events = placed_events(loaders.ask("events_of_pump", pump_id=int(pump["pump_id"])), pump, axis)
    events = near(events, rows["distance"], axis)
    domain = _domain(rows, events, lines, axis, pump)
    started = story.show(pump, ranked, lines, axis, domain)
    happened = history.work_and_events(events, domain=domain, palette=frame.palette())
    if happened is not None:
        frame.chart(happened, f"Work and events over {axis.title}.")
    shown = st.radio("Readings", list(READINGS), format_func=READINGS.__getitem__, horizontal=True,
                     **address.bound("readings", "readings", READINGS.values()))  # fmt: skip
    told = [m for m in trended() if rows[m.name].notna().any()]
    for m in told:
        metric, reference = m.name, f"{m.name}_reference"
        frame.chart(
            history.metric_over_distance(
                rows, metric, m.title, distance_title=axis.title if m is told[-1] else "",
                normalised=reference if shown != "read" and _tells(rows, metric) else None,
                raw=shown != "reference" or not _tells(rows, metric),
                error=m.error if m.error in rows else None, limits=limits_of(pump, m, settings),
                baseline=baseline_band(rows, metric, settings), events=events, domain=domain,
                palette=frame.palette(),
            ),
            f"{m.title} of this pump over {axis.title}, {len(rows)} visits.",
        )  # fmt: skip
    missing = [m.words for m in trended() if m not in told]
    unread = [f"No reading yet of {' and '.join(missing)}."] if missing else []
    say.note(_legend(rows, shown, events), *unread)
    frame.show_fold(
        "Slow drift against the limits, a detail", "slow_drift",
        lambda: _show_slow(pump, rows, lines, axis, events, settings, started),
    )  # fmt: skip


def _domain(
    rows: pd.DataFrame, events: pd.DataFrame, lines: PumpDrift | None, axis: Axis, pump: pd.Series
) -> tuple[float, float]:
    """Return the stretch that every chart shows: from the first thing known to some visits ahead."""
    known = pd.concat([rows["distance"], events["distance"]]).dropna()
    start, end = float(known.min()), float(known.max())
    if lines is not None and lines.in_service:
        end = max(end, float(axis.place(lines.now_km + ahead_reach_km(pump))))
    room = 0.02 * max(end - start, 1.0)
    return start - room, end + room


def ahead_reach_km(pump: pd.Series) -> float:
    """Return how far ahead of today charts reach, km of the pump's clock."""
    interval = pump["pm_interval_km"]
    return FAN_INTERVALS * (USUAL_INTERVAL_KM if formats.is_unknown(interval) else float(interval))


def _legend(rows: pd.DataFrame, shown: str, events: pd.DataFrame) -> str:
    """Say what the marks mean, of those that are drawn."""
    marks = {"idle": "○ idle", "prime": "□ prime", "loaded": "△ loaded"}
    states = [words for state, words in marks.items() if (rows["state"] == state).any()]
    states += ["+ engine state not told"] if rows["state"].isna().any() else []
    said = []
    if shown != "reference":
        said.append(f"Open marks: as read ({', '.join(states)}; bars span two standard errors).")
    if shown != "read" and any(_tells(rows, m.name) for m in trended()):
        said.append("Line with small dots: at the reference volts, rated pressure and 25 °C.")
    said.append("Band across: the pump's own first readings.")
    if len(events):
        said.append("Upright lines: the work and events above.")
    return " ".join(said)


def _show_slow(
    pump: pd.Series, rows: pd.DataFrame, lines: PumpDrift | None, axis: Axis, events: pd.DataFrame,
    settings: Settings, started: float,
) -> None:  # fmt: skip
    """Draw the straight line through each metric and when it would pass a limit; started: the chance that a
    damage has begun that outruns it."""
    begun = started >= story.SEEN_FROM
    if begun:
        surely = "has probably" if started >= PROBABLE else "may have"
        say.line(
            f"A damage {surely} started that changes these readings faster than a straight line: go by the "
            "picture of the damages above. The lines below leave it out."
        )
    for m in trended():
        metric, drift = m.name, lines.drift[m.name] if lines is not None else None
        if rows[metric].notna().sum() == 0:
            continue
        limits = limits_of(pump, m, settings)
        if lines is None or drift is None:
            say.note(drift_words(drift, m, axis))
            continue
        line, fan = line_and_fan(lines, metric, rows, limits, axis, pump)
        frame.chart(
            history.metric_over_distance(
                rows, metric, m.title, distance_title=axis.title, limits=limits, events=events, drift=line,
                fan=fan, palette=frame.palette(),
            ),
            f"{m.title} over {axis.title} with its straight line and where that leads.",
        )  # fmt: skip
        say.note(drift_words(drift, m, axis, begun=begun))
        if lines.in_service and not begun:
            say.line(
                past_words(rows, metric, limits, float(drift.level[0]), m.unit)
                or limit_words(lines, metric, limits, axis, m.unit)
            )
    say.note(
        "Broken line: this pump's slow drift, leaning on its type's where its own readings are few; shaded "
        "ahead: where the line will lie, 8 in 10. Passing a limit is not failing."
    )


def placed(visits: pd.DataFrame, settings: Settings) -> tuple[pd.DataFrame, Axis]:
    """Return visits with a column `distance`, and what it counts: engine hours where the unit goes by hours,
    else distance on the pump where its fitting is known, else the odometer."""
    own = str(settings["distance_unit"])
    km = to_kept(1.0, own)
    rows = visits.assign(visited_on=visits["visited_on"].map(formats.day))
    if (rows["clock"] == "hours").any() and rows["hours_on_pump"].notna().any():
        return rows.assign(distance=rows["hours_on_pump"]), Axis(
            "engine hours on this pump", "h", float(settings["idle_hour_miles"]) * KM_PER_MILE, 1000
        )
    if rows["distance_on_pump_km"].notna().any():
        return rows.assign(distance=rows["distance_on_pump_km"] / km), Axis(
            f"{own} on this pump", own, km, 10_000
        )
    return rows.assign(distance=rows["odometer_km"] / km), Axis(f"odometer, {own}", own, km, 10_000)


def with_reference(rows: pd.DataFrame, axis: Axis, lines: pd.DataFrame) -> tuple[pd.DataFrame, Axis]:
    """Add the readings at reference volts as <metric>_reference, and set the axis to the pump's clock.

    lines: visit_id, x_km and each metric (analytics.risk.pump_drift).
    """
    named = lines.rename(columns={m.name: f"{m.name}_reference" for m in trended()})
    out = rows.merge(named, on="visit_id", how="left")
    start = (out["x_km"] - out["distance"] * axis.km).median()
    return out, Axis(axis.title, axis.unit, axis.km, axis.per, 0.0 if np.isnan(start) else float(start))


def _tells(rows: pd.DataFrame, metric: str) -> bool:
    """Return whether at least two readings stand at the reference as well, and not where they stood."""
    name = f"{metric}_reference"
    if name not in rows or rows[name].notna().sum() < 2:
        return False
    return bool((rows[name] - rows[metric]).abs().max() > 1e-9)


def limits_of(pump: pd.Series, metric: Metric, settings: Settings) -> dict[str, float]:
    """Return the limits of a metric by name: the type's own, else the fleet's setting; unknown left out."""
    found = {}
    for label, name in ((metric.low_words, metric.low), (metric.high_words, metric.high)):
        value = pump[name] if name else None
        if name and formats.is_unknown(value):
            value = settings.get(name)
        if not formats.is_unknown(value):
            found[label] = float(value)  # type: ignore[arg-type]
    return found


def line_and_fan(
    lines: PumpDrift, metric: str, rows: pd.DataFrame, limits: dict[str, float], axis: Axis, pump: pd.Series
) -> tuple[pd.DataFrame, pd.DataFrame | None]:
    """Return the drift line over the visits (distance, value), and the fan ahead of a pump in service
    (distance, value, low, high): to the limit where that is in sight, else a few visits on."""
    drift = lines.line(metric)
    ends = np.array([rows["x_km"].min(), lines.now_km])
    line = pd.DataFrame(
        {"distance": axis.place(ends), "value": drift.level[0] + drift.slope[0] * (ends - lines.now_km)}
    )
    if not lines.in_service:
        return line, None
    reach = ahead_reach_km(pump)
    found = lines.limit(metric, *_ends(limits))
    if found.told[0]:
        latest = found.latest_km[0] if np.isfinite(found.latest_km[0]) else 2 * found.distance_km[0]
        reach = max(reach, min(latest, 1.2 * max(np.ptp(ends), reach)))
    ahead = lines.ahead(metric, np.linspace(0, reach, FAN_POINTS))
    return line, ahead.assign(distance=axis.place(ahead["x_km"])).drop(columns="x_km")


def _ends(limits: dict[str, float]) -> tuple[float | None, float | None]:
    low = next((v for k, v in limits.items() if k.startswith("low")), None)
    return low, next((v for k, v in limits.items() if not k.startswith("low")), None)


def placed_events(events: pd.DataFrame, pump: pd.Series, axis: Axis) -> pd.DataFrame:
    """Return events with a column `distance` on the axis; none where it counts hours."""
    if axis.unit == "h":
        return events.iloc[:0].assign(distance=[], text=[])
    shift, share = pump["fitted_odometer_km"], pump["run_share"]
    km = events["odometer_km"] - (0.0 if formats.is_unknown(shift) else float(shift))
    km = km * (1.0 if formats.is_unknown(share) else float(share))
    notes = zip(events["happened_on"], events["note"].fillna(""), strict=True)
    text = pd.Series([f"{formats.day(day)} {note}" for day, note in notes], events.index, dtype=object)
    return events.assign(distance=km / axis.km, text=text)[events["odometer_km"].notna() & (km >= 0)]


def near(events: pd.DataFrame, distance: pd.Series, axis: Axis) -> pd.DataFrame:
    """Return the events not far before the first reading, so that a long unseen stretch squeezes no chart."""
    seen = max(distance.max() - distance.min(), axis.per)
    return events[events["distance"] >= distance.min() - 0.3 * seen]


def baseline_band(rows: pd.DataFrame, metric: str, settings: Settings) -> tuple[float, float] | None:
    """Return lowest and highest of the readings that make the baseline; None until one has come after."""
    good = rows[rows["in_trend"] & rows[metric].notna()]
    first = good[metric].head(int(settings["baseline_visits"]))
    return (float(first.min()), float(first.max())) if len(good) > len(first) else None


def drift_words(drift: Drift | None, metric: Metric, axis: Axis, *, begun: bool = False) -> str:
    """Return the drift with its standard error, whose it is, or that it can't be told from none; not the last
    where a damage has begun that moves the readings off the line."""
    if drift is None:
        return f"{metric.words}: no drift is drawn until the fleet has enough readings to learn from."
    slope, error = (float(v[0]) * axis.km * axis.per for v in (drift.slope, drift.slope_ahead_se))
    digits = max(metric.digits, 2) if metric.digits else 0  # a slope is smaller than what drifts
    slope = round(slope, digits) + 0.0  # no "-0.00"
    sure = "" if drift.told[0] or begun else "; may as well be none"
    share = float(drift.own_share[0])
    whose = "" if share > 0.8 else f"; {formats.percent(1 - share)} of it is what its type does"
    return (
        f"{metric.words}: {minus(f'{slope:+,.{digits}f}')} ± {error:,.{digits}f} {metric.unit}"
        f" per {axis.per:,} {axis.unit}, "
        f"at reference volts{sure}{whose}."
    )


def past_words(
    rows: pd.DataFrame, metric: str, limits: dict[str, float], level: float, unit: str
) -> str | None:
    """Return that the last reading lies past a limit the line has not reached; None where it does not."""
    reference = f"{metric}_reference"
    told = rows[reference if reference in rows else metric].dropna()
    if not len(told):
        return None
    last = float(told.iloc[-1])
    for name, limit in limits.items():
        beyond = last < limit <= level if name.startswith("low") else last > limit >= level
        if beyond:
            return (
                f"The last reading lies past the {name}, {limit:,g} {unit}, already; "
                "the line, drawn through all of them, does not."
            )
    return None


def limit_words(lines: PumpDrift, metric: str, limits: dict[str, float], axis: Axis, unit: str) -> str:
    """Return when the line will pass a limit, with its range; or why that can't be said."""
    if not limits:
        return "No limit is known for it."
    drift = lines.line(metric)
    level = drift.level[0]
    past = next((k for k, v in limits.items() if (level < v if k.startswith("low") else level > v)), None)
    if past:
        return f"The line stands past the {past}, {limits[past]:,g} {unit}, already."
    if drift.readings[0] < 3:
        return "Under three readings: too few to say when it will pass a limit."
    found = lines.limit(metric, *_ends(limits))
    if not drift.told[0]:
        return "Too little change to follow a line to a limit."
    heading = next((k for k, v in limits.items() if v == found.limit[0]), None)
    if heading is None:
        return "On this line no limit is in sight."
    what = f"the {heading}, {found.limit[0]:,g} {unit}"
    soonest, latest = found.soonest_km[0], found.latest_km[0]
    least = axis.length(soonest) if soonest > 0 else "now"
    if not np.isfinite(soonest):
        return f"On this line it does not pass {what} within ten years at this use."
    if not np.isfinite(found.distance_km[0]):
        return f"On this line it passes {what} later than in ten years at this use (1 in 10: before {least})."
    most = axis.length(latest) if np.isfinite(latest) else "not within ten years"
    return (
        f"On this line it passes {what}, in about {axis.length(found.distance_km[0])}"
        f"{_month(found.distance_km[0], lines.km_per_day)} (8 in 10: {least} to {most})."
    )


def _month(km: float, km_per_day: float) -> str:
    days = km / max(km_per_day, 1e-6)
    last = pd.Timestamp(loaders.ask("fleet_counts").iloc[0]["last_visited_on"])
    return f", about {last + timedelta(days=float(days)):%Y-%m}"
