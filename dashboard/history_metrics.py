"""The pump history page: current, ripple and speed over distance, raw and normalised, with drift."""

from __future__ import annotations

import numpy as np
import pandas as pd
import streamlit as st

from dashboard import formats, frame, loaders
from dashboard.charts import history
from ingest.facts import corrected

METRICS = (
    ("mean_a", "average current, A", "mean_a_se", ("current_low_a", "current_high_a")),
    ("ripple_pct", "ripple, % of average", "ripple_pct_se", (None, "ripple_limit_pct")),
    ("rpm", "speed, rpm", "rpm_se", ("rpm_low", "rpm_high")),
)
BASELINE_VISITS = 3


def show_metrics(pump: pd.Series, visits: pd.DataFrame) -> None:
    """Draw current, ripple and speed over the distance run by the pump, with limits, baseline and events."""
    own = loaders.settings()["distance_unit"]
    reference_v = float(loaders.settings()["reference_supply_v"]) * _system_v(visits) / 12
    rows, distance_title = _placed(with_normalised(visits, reference_v), own)
    if not len(rows):
        st.write("No visit of this pump can be placed by distance yet.")
        return
    events = _placed_events(loaders.ask("events_of_pump", pump_id=int(pump["pump_id"])), pump, own)
    for metric, title, error, (low_name, high_name) in METRICS:
        if rows[metric].notna().sum() == 0:
            st.caption(f"{title}: no reading yet.")
            continue
        good = rows[rows["in_trend"] & rows[metric].notna()]
        limits = {
            "low end of specification": pump[low_name] if low_name else None,
            "high end of specification" if metric != "ripple_pct" else "ripple limit": pump[high_name],
        }
        frame.chart(
            history.metric_over_distance(
                rows, metric, title, distance_title=distance_title,
                normalised=_normalised_name(rows, metric),
                error=error if error in rows else None,
                limits={k: (None if formats.is_unknown(v) else float(v)) for k, v in limits.items()},
                baseline=_baseline(good, metric), events=events,
                drift=_drift_line(good, _normalised_name(good, metric) or metric),
                palette=frame.palette(),
            ),
            f"{title} of this pump over {distance_title}, {len(rows)} visits.",
        )  # fmt: skip
        fitted = _normalised_name(good, metric)
        words = drift_words(
            good, fitted or metric, title.split(",")[0], title.split(", ")[1], own,
            f"at {reference_v:g} V" if fitted else "as read",
        )  # fmt: skip
        if words:
            st.caption(words)
    st.caption(
        "Open marks: as read. Line with small dots: at the reference volts and rated pressure, where the "
        "volts are known. Shaded: the pump's own first readings. Broken line: straight fit, drawn only from "
        "three visits on. ○ idle, □ prime, △ loaded, + engine state not told. Bars span two standard errors."
    )


def _system_v(visits: pd.DataFrame) -> float:
    known = visits["system_v"].dropna()
    return float(known.iloc[-1]) if len(known) else 12.0


def with_normalised(visits: pd.DataFrame, reference_v: float) -> pd.DataFrame:
    """Add mean_a_normalised and rpm_normalised, at the reference volts and rated pressure.

    Nominal exponents (ingest.sensitivities); unknown where the supply volts are, since volts move them most.
    """
    ln_current, ln_speed = corrected(visits, reference_v, visits["rated_pressure_kpa"].to_numpy(float))
    known = visits["supply_v"].notna().to_numpy()
    return visits.assign(
        mean_a_normalised=np.where(known, np.exp(ln_current), np.nan),
        rpm_normalised=np.where(known, np.exp(ln_speed), np.nan),
    )


def _normalised_name(rows: pd.DataFrame, metric: str) -> str | None:
    """Return the normalised column when at least two visits have it and it differs from the reading."""
    name = f"{metric}_normalised"
    return name if name in rows and rows[name].notna().sum() >= 2 else None


def _placed(visits: pd.DataFrame, own: str) -> tuple[pd.DataFrame, str]:
    """Return visits with a column `distance`: on the pump where its fitting is known, else the odometer."""
    rows = visits.assign(visited_on=visits["visited_on"].map(formats.day))
    if rows["distance_on_pump_km"].notna().any():
        return rows.assign(distance=formats.in_unit(rows["distance_on_pump_km"], own)), f"{own} on this pump"
    return rows.assign(distance=formats.in_unit(rows["odometer_km"], own)), f"odometer, {own}"


def _placed_events(events: pd.DataFrame, pump: pd.Series, own: str) -> pd.DataFrame:
    start = pump["fitted_odometer_km"]
    shift = 0.0 if formats.is_unknown(start) else float(start)
    share = 1.0 if formats.is_unknown(pump["run_share"]) else float(pump["run_share"])
    km = (events["odometer_km"] - shift) * share
    return events.assign(
        distance=formats.in_unit(km, own),
        text=events["happened_on"].map(formats.day) + " " + events["note"].fillna(""),
    )[events["odometer_km"].notna() & (km >= 0)]


def _baseline(good: pd.DataFrame, metric: str) -> tuple[float, float] | None:
    first = good[metric].head(BASELINE_VISITS)
    return (float(first.min()), float(first.max())) if len(good) > BASELINE_VISITS else None


def _drift_line(good: pd.DataFrame, metric: str) -> pd.DataFrame | None:
    fitted = straight_fit(good["distance"], good[metric])
    if fitted is None:
        return None
    ends = np.array([good["distance"].min(), good["distance"].max()])
    return pd.DataFrame({"distance": ends, "value": fitted[0] + fitted[1] * ends})


def straight_fit(x: pd.Series, y: pd.Series) -> tuple[float, float, float] | None:
    """Return intercept, slope and the slope's standard error by least squares; None under three points."""
    known = x.notna() & y.notna()
    a, b = x[known].to_numpy(float), y[known].to_numpy(float)
    if len(a) < 3 or np.ptp(a) == 0:
        return None
    centred = a - a.mean()
    slope = float(centred @ (b - b.mean()) / (centred @ centred))
    intercept = float(b.mean() - slope * a.mean())
    residual = b - intercept - slope * a
    error = float(np.sqrt(residual @ residual / (len(a) - 2) / (centred @ centred)))
    return intercept, slope, error


def drift_words(good: pd.DataFrame, metric: str, name: str, unit: str, own: str, basis: str) -> str | None:
    """Return the straight drift per 10,000 with its standard error, or that it can't be told from none."""
    fitted = straight_fit(good["distance"], good[metric])
    if fitted is None:
        return f"{name}: under three placed readings, so no drift is drawn."
    slope, error = fitted[1] * 10_000, fitted[2] * 10_000
    digits = 0 if unit == "rpm" else 2
    sure = "" if abs(slope) > 2 * error else "; not told apart from no drift"
    return f"{name}: {slope:+,.{digits}f} ± {error:,.{digits}f} {unit} per 10,000 {own}, {basis}{sure}."
