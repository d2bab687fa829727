"""The parts of the pump history page."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
import streamlit as st

from dashboard import envelope, formats, frame, loaders, risk_list
from dashboard.charts import history, waveform

METRICS = (
    ("mean_a", "average current, A", "mean_a_se", ("current_low_a", "current_high_a")),
    ("ripple_pct", "ripple, % of average", "ripple_pct_se", (None, "ripple_limit_pct")),
    ("rpm", "speed, rpm", "rpm_se", ("rpm_low", "rpm_high")),
)
BASELINE_VISITS = 3


def choose_pump() -> int | None:
    """Return the pump asked for in the page's address, or chosen by unit."""
    asked = st.query_params.get("pump")
    asked_id = int(asked) if asked and asked.isdigit() else None
    current = loaders.ask("pump_head", pump_id=asked_id) if asked_id is not None else pd.DataFrame()
    names = loaders.ask("unit_names")["unit"].tolist()
    known = current.iloc[0]["unit"] if len(current) else None
    left, right = st.columns([1, 2])
    with left:
        if len(names) <= 2000:
            unit = st.selectbox("Unit", names, index=names.index(known) if known in names else None,
                                placeholder="type the vehicle's number")  # fmt: skip
        else:
            unit = st.text_input("Unit", value=known or "", placeholder="type the vehicle's number").strip()
    if not unit:
        return None
    pumps = loaders.ask("pumps_of_unit", unit=unit)
    if not len(pumps):
        return None
    ids = pumps["pump_id"].tolist()
    labels = {row["pump_id"]: _life_label(row) for row in pumps.to_dict("records")}
    with right:
        chosen = st.selectbox(
            "Pump", ids, index=ids.index(asked_id) if asked_id in ids else 0, format_func=labels.__getitem__,
            key=f"pump_of_{unit}",
        )  # fmt: skip
    if chosen != asked_id:
        st.query_params["pump"] = str(chosen)
    return int(chosen) if chosen is not None else None


def _life_label(row: dict[Any, Any]) -> str:
    place = "" if row["position"] == "main" else f"{row['position']}, "
    start = formats.day(row["fitted_on"]) if not formats.is_unknown(row["fitted_on"]) else "fitting unknown"
    if formats.is_unknown(row["removed_on"]):
        return f"{place}{row['pump_type']}, in service since {start}"
    removal = row["removal"] if not formats.is_unknown(row["removal"]) else "removed"
    return f"{place}{row['pump_type']}, {start} to {formats.day(row['removed_on'])} ({removal})"


def show_head(pump: pd.Series, ranked: pd.DataFrame) -> None:
    """Draw the answer first: action, risk, reason; then what the pump is."""
    own = loaders.settings()["distance_unit"]
    if len(ranked):
        row = ranked.iloc[0]
        with st.container(border=True):
            st.subheader(formats.action(row["action"]), anchor=False)
            st.write(row["reason"])
            when = risk_list.due_words(row)
            if when:
                st.write(when)
        a, b, c, d = st.columns(4)
        a.metric("Risk before next visit", formats.percent(row["risk"]), formats.odds(row["risk"]),
                 delta_color="off", delta_arrow="off")  # fmt: skip
        b.metric(f"{row['horizon_unit']} left, 9 in 10 sure", _round(row["distance_left_p10"]))
        c.metric("Left, even chance", str(row["distance_left_text"]).removesuffix(", longest seen"))
        d.metric("Visits with a reading", f"{int(row['visits'])}")
    elif not formats.is_unknown(pump["removed_on"]):
        removal = formats.UNKNOWN if formats.is_unknown(pump["removal"]) else pump["removal"]
        found = "not told" if formats.is_unknown(pump["found"]) else pump["found"]
        st.write(f"This pump was removed on {formats.day(pump['removed_on'])} ({removal}; found: {found}).")
    facts = [
        f"unit {pump['unit']}",
        *(str(pump[c]) for c in ("make", "model", "class", "depot") if not formats.is_unknown(pump[c])),
        f"type {pump['pump_type']}",
    ]
    if not formats.is_unknown(pump["serial"]):
        facts.append(f"serial {pump['serial']}")
    fitted = formats.distance(pump["fitted_odometer_km"], own)
    facts.append(f"fitted {formats.day(pump['fitted_on'])} at {fitted}")
    st.caption(" · ".join(facts))


def _round(value: Any) -> str:
    return formats.UNKNOWN if formats.is_unknown(value) else f"{float(f'{value:.3g}'):,.0f}"


def show_metrics(pump: pd.Series, visits: pd.DataFrame) -> None:
    """Draw current, ripple and speed over the distance run by the pump, with limits, baseline and events."""
    own = loaders.settings()["distance_unit"]
    rows, distance_title = _placed(visits, own)
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
                normalised=f"{metric}_normalised" if f"{metric}_normalised" in rows else None,
                error=error if error in rows else None,
                limits={k: (None if formats.is_unknown(v) else float(v)) for k, v in limits.items()},
                baseline=_baseline(good, metric), events=events, drift=_drift_line(good, metric),
                palette=frame.palette(),
            ),
            f"{title} of this pump over {distance_title}, {len(rows)} visits.",
        )  # fmt: skip
        words = drift_words(good, metric, title.split(",")[0], title.split(", ")[1], own)
        if words:
            st.caption(words)
    st.caption(
        "Shaded: the pump's own first readings. Broken line: straight fit, drawn only from three visits on. "
        "○ idle, □ prime, △ loaded, + engine state not told. Bars span two standard errors."
    )


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


def drift_words(good: pd.DataFrame, metric: str, name: str, unit: str, own: str) -> str | None:
    """Return the straight drift per 10,000 with its standard error, or that it can't be told from none."""
    fitted = straight_fit(good["distance"], good[metric])
    if fitted is None:
        return f"{name}: under three placed readings, so no drift is drawn."
    slope, error = fitted[1] * 10_000, fitted[2] * 10_000
    digits = 0 if metric == "rpm" else 2
    sure = "" if abs(slope) > 2 * error else "; not told apart from no drift"
    return f"{name}: {slope:+,.{digits}f} ± {error:,.{digits}f} {unit} per 10,000 {own}, as read{sure}."


def show_outlook(pump: pd.Series, visits: pd.DataFrame, ranked: pd.DataFrame) -> None:
    """Draw the risk split, the chance of running on, and what would change the answer."""
    if not len(ranked):
        st.write("Only pumps in service have an outlook.")
        return
    row = ranked.iloc[0]
    parts = pd.DataFrame(
        {
            "part": ["wear", "drag", "sudden"],
            "points": [row["risk_wear"], row["risk_drag"], row["risk_sudden"]],
        }
    )
    st.subheader("Where the risk comes from", anchor=False)
    frame.chart(
        history.risk_split(parts, palette=frame.palette()),
        "Risk split into wear, drag and unpredictable, in points.",
    )
    st.write(row["reason"])
    extra = []
    if not formats.is_unknown(row.get("p_drag_started")):
        extra.append(f"Chance that drag has started: {formats.percent(row['p_drag_started'])}.")
    if not formats.is_unknown(row.get("prior_share")):
        extra.append(
            f"{formats.percent(row['prior_share'])} of this answer is the type's, not this pump's own."
        )
    if not formats.is_unknown(row.get("n_alike")) and row["n_alike"]:
        extra.append(
            f"Of {formats.count(int(row['n_alike']), 'pump')} rated like this before,"
            f" {int(row['k_failed'])} failed."
        )
    if not formats.is_unknown(row.get("risk_if_new")):
        extra.append(f"A new pump in its place would carry {formats.percent(row['risk_if_new'])}.")
    if extra:
        st.markdown("\n".join(f"- {e}" for e in extra))
    _show_survival(int(pump["pump_id"]), row)
    st.subheader("What would change this answer", anchor=False)
    st.markdown("\n".join(f"- {line}" for line in would_change(visits, pump)))


def _show_survival(pump_id: int, row: pd.Series) -> None:
    curve = loaders.survival(pump_id)
    if curve is None:
        return
    own = loaders.settings()["distance_unit"]
    shown = curve.assign(distance=formats.in_unit(curve["distance_km"], own))
    long = pd.concat(
        [
            shown[["distance", "running"]].assign(pump="this pump"),
            shown[["distance", "new_running"]]
            .rename(columns={"new_running": "running"})
            .assign(pump="a new pump"),
        ]
    )
    marks = {"next visit": float(row["horizon"])} if not formats.is_unknown(row.get("horizon")) else {}
    st.subheader("The distance ahead", anchor=False)
    frame.chart(
        history.survival_ahead(
            long, distance_title=f"{own} from today", marks=marks, palette=frame.palette()
        ),
        "Chance that this pump, and a new one, still runs over the distance ahead.",
    )


def would_change(visits: pd.DataFrame, pump: pd.Series) -> list[str]:
    """Return what would make the answer firmer or different, most useful first."""
    lines = []
    readings = visits[visits["mean_a"].notna()]
    if len(readings) < 3:
        lines.append(
            f"{formats.count(len(readings), 'reading')} so far: from three on, the pump's own trend counts."
        )
    if len(readings) and readings["rpm"].isna().iloc[-1]:
        lines.append("The last reading has no speed: a longer or finer capture would tell wear from drag.")
    if len(readings) and readings["supply_v"].isna().any():
        n = int(readings["supply_v"].isna().sum())
        lines.append(
            f"{formats.count(n, 'reading')} without volts at the pump: a low supply looks like wear."
        )
    if readings["state"].nunique(dropna=True) > 1:
        lines.append("Readings mix engine states; captures in one state compare best.")
    if pump["filter"] == "inline" and visits["filter_changed_on"].isna().all():
        lines.append("No filter change is recorded: a clogged filter looks like drag.")
    if formats.is_unknown(pump["fitted_on"]):
        lines.append("The day this pump was fitted is unknown; its age is a guess.")
    return lines or ["More captures in the usual state; the data so far are complete."]


def show_waveforms(visits: pd.DataFrame) -> None:
    """Draw first and latest turn over each other, the segments visit by visit, and any one capture."""
    shown = visits[visits["capture_hash"].notna()]
    if len(shown):
        _show_turns(shown)
    _show_profiles(visits)
    if not len(shown):
        st.write("No waveform of this pump is stored; its readings came from a meter or another program.")


def _show_turns(shown: pd.DataFrame) -> None:
    ledger = str(loaders.ledger_path())
    turns: list[pd.DataFrame] = []
    timed = shown[shown["revolution_ms"].notna()]
    picks = timed.iloc[[0, -1]] if len(timed) > 1 else timed
    for row in picks.to_dict("records"):
        capture = loaders.waveform(ledger, row["capture_hash"])
        turn = envelope.averaged_turn(capture, row["revolution_ms"])
        if turns:
            turn = envelope.turned_onto(turn, turns[0])
        turns.append(turn.assign(capture=formats.day(row["visited_on"])))
    if turns:
        st.subheader("First and latest turn" if len(turns) > 1 else "The averaged turn", anchor=False)
        frame.chart(
            waveform.turns(pd.concat(turns), palette=frame.palette()),
            "Averaged revolutions by angle, laid over each other.",
        )
    days = dict(zip(shown["visit_id"], shown["visited_on"].map(formats.day), strict=True))
    choice = st.selectbox("Trace of visit", list(days)[::-1], format_func=days.__getitem__)
    picked = shown[shown["visit_id"] == choice].iloc[0]
    capture = loaders.waveform(ledger, picked["capture_hash"])
    whole = envelope.envelope(capture)
    turn_ms = None
    if not formats.is_unknown(picked["revolution_ms"]):
        middle = (capture.start_s + capture.duration_s / 2) * 1000
        turn_ms = (middle, middle + float(picked["revolution_ms"]))
        zoom = st.segmented_control("Show", ["Whole record", "Ten turns", "Two turns"], default="Ten turns",
                                    key="history_range", label_visibility="collapsed")  # fmt: skip
        reach = {"Ten turns": 4.5, "Two turns": 0.5}.get(zoom or "Ten turns")
        if reach is not None:
            length = (turn_ms[1] - turn_ms[0]) * reach
            whole = envelope.envelope(capture, (turn_ms[0] - length) / 1000, (turn_ms[1] + length) / 1000)
    frame.chart(
        waveform.trace(whole, turn_ms=turn_ms, palette=frame.palette()),
        f"Current over time of the capture of {formats.day(picked['visited_on'])}.",
    )


def _show_profiles(visits: pd.DataFrame) -> None:
    rows = [
        {"visited_on": formats.day(v["visited_on"]), "segment": i + 1, "height_pct": float(h)}
        for v in visits.tail(12).to_dict("records")
        if isinstance(v["segment_profile_pct"], list | np.ndarray)
        for i, h in enumerate(v["segment_profile_pct"])
    ]
    if not rows:
        return
    st.subheader("Segments, visit by visit", anchor=False)
    frame.chart(
        waveform.segments_over_time(pd.DataFrame(rows), palette=frame.palette()),
        "Averaged height of each segment at each visit, in percent of the average current.",
    )
    st.caption("Height of each segment in percent of the average. Numbering starts anew with every record.")


def show_visits(pump: pd.Series, visits: pd.DataFrame) -> None:
    """Draw every visit with its note, and offer them as a file."""
    own = loaders.settings()["distance_unit"]
    events = loaders.ask("events_of_pump", pump_id=int(pump["pump_id"]))
    table = pd.DataFrame(
        {
            "Day": visits["visited_on"].map(formats.day),
            f"Odometer, {own}": formats.in_unit(visits["odometer_km"], own).round(0),
            "Reason": visits["reason"],
            "Engine": visits["state"],
            "Current, A": visits["mean_a"].round(2),
            "Ripple, %": visits["ripple_pct"].round(1),
            "Speed, rpm": visits["rpm"].round(0),
            "Volts": visits["supply_v"],
            "Pressure, kPa": visits["fuel_pressure_kpa"],
            "Fuel, %": visits["fuel_level_pct"],
            "In trend": visits["in_trend"].map({True: "yes", False: "no, question open"}),
            "Note": visits["note"],
            "By": visits["technician"],
        }
    )
    st.dataframe(table.iloc[::-1], hide_index=True, alt="All visits of this pump, newest first.")
    frame.download(table, f"visits_unit_{pump['unit']}")
    if len(events):
        st.subheader("Work and events", anchor=False)
        st.dataframe(
            pd.DataFrame(
                {
                    "Day": events["happened_on"].map(formats.day),
                    "Event": events["event"],
                    f"Odometer, {own}": formats.in_unit(events["odometer_km"], own).round(0),
                    "Note": events["note"],
                }
            ),
            hide_index=True,
            alt="Work done and events while this pump ran.",
        )
