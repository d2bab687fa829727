"""The fleet folder's tables, as a fleet would have written them by a day: late, with gaps, now and then
wrong.

What is wrong on purpose: changes that nobody wrote down (the old pump's row runs on), pumps of unknown age at
the start, one odometer entry in 250 with two digits swapped, lots and serials left out, a depot that reports
no breakdowns and calls failures by other names, strip-downs that come weeks later or never.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from .causes import CHECK_NAME, WORK
from .designs import DESIGNS
from .fleet import EPOCH
from .kinds import DUTIES
from .readings import STATES, VALUES

if TYPE_CHECKING:
    from .run import Run

REASONS = np.array(["pm", "follow-up", "complaint", "after-repair", "road-call"], dtype=object)
REMOVALS = np.array(["failed", "on_condition", "opportunity", "other", None], dtype=object)
FOUND = np.array(["worn", "seized", "electrical", "tested_good", "not_examined", None], dtype=object)
RESULTS = np.array(["no_other_cause", "not_reproduced", *CHECK_NAME, None], dtype=object)
PART = np.array(["good", "bad", "not_reached", None], dtype=object)
DIGITS = {"mean_a": 3, "ripple_pct": 2, "rpm": 0, "meter_a": 1, "supply_v": 2, "hours": 0}


def tables(run: Run, as_of: int, since: int | None = None) -> dict[str, pd.DataFrame]:
    """Frames by table name (vehicles, pump_types, pumps, visits, services, breakdowns, stock, bays)."""
    return {
        "vehicles": _vehicles(run, as_of),
        "pump_types": pump_types(),
        "pumps": _pumps(run, as_of, since),
        "visits": _visits(run, as_of, since),
        "services": _services(run, as_of, since),
        "breakdowns": _breakdowns(run, as_of, since),
        "stock": _stock(run),
        "bays": pd.DataFrame({"depot": run.fleet.depot_names, "hours": 24.0}),
    }


def _dates(day: np.ndarray) -> np.ndarray:
    return EPOCH + day.astype("timedelta64[D]")


def _kept(columns: dict[str, np.ndarray], as_of: int, since: int | None) -> np.ndarray:
    keep = (columns["recorded"] <= as_of) & (columns["day"] <= as_of)
    return keep if since is None else keep & (columns["recorded"] > since)


def _vehicles(run: Run, as_of: int) -> pd.DataFrame:
    fleet = run.fleet
    here = np.flatnonzero(fleet.in_service <= as_of)
    duty = fleet.duty[here]
    born = _dates(fleet.in_service[here])
    # A vehicle's end is known a year and a half ahead.
    known = fleet.retires[here] < as_of + 550
    retires = np.full(here.size, np.datetime64("NaT"), dtype="datetime64[D]")
    retires[known] = _dates(fleet.retires[here][known])
    return pd.DataFrame(
        {
            "unit": fleet.names[here],
            "year": born.astype("datetime64[Y]").astype(int) + 1970,
            "class": np.array([d.name for d in DUTIES])[duty],
            "depot": np.array(fleet.depot_names)[fleet.depot[here]],
            "system_v": 12,
            "in_service_on": _seconds(born),
            "records_from": _seconds(np.maximum(born, EPOCH)),
            "retires_on": _seconds(retires),
            "pm_interval": np.array([d.pm_km for d in DUTIES])[duty],
            "pm_interval_days": np.array([d.pm_days for d in DUTIES])[duty],
            "job_hours": 2.5,
        }
    )


def _seconds(dates: np.ndarray) -> np.ndarray:
    return dates.astype("datetime64[s]")


def pump_types() -> pd.DataFrame:
    """The designs as a maker would state them; limits are wide, as makers' are."""
    rows = []
    for d in DESIGNS:
        rows.append(
            {
                "pump_type": d.name,
                "motor": "brushed",
                "supply": d.supply,
                "fuel": d.fuel,
                "segments": d.bars,
                "current_low_a": round(0.82 * d.amps, 1),
                "current_high_a": round(1.22 * d.amps, 1),
                "spec_at_v": 13.5,
                "spec_at_kpa": d.rated_kpa,
                "ripple_limit_pct": 15.0,
                "rpm_low": round(0.72 * d.rpm, -1),
                "rpm_high": round(1.3 * d.rpm, -1),
                "rated_pressure_kpa": d.rated_kpa,
                "min_delivery_l_min": round(0.6 * d.delivery, 2),
                "poles": 2,
                "filter": "inline",
                "lead_time_days": d.lead_time_days,
                "price": d.price,
            }
        )
    return pd.DataFrame(rows)


def _pumps(run: Run, as_of: int, since: int | None) -> pd.DataFrame:
    """Pumps on record: fittings that were written down, each with the next removal that was."""
    fleet, luck = run.fleet, run.fleet.luck
    f, r = run.log.columns("fitted"), run.log.columns("removed")
    keep = ~f["lost"] & (f["recorded"] <= as_of) & (f["day"] <= as_of)
    f = {key: value[keep] for key, value in f.items()}
    order = np.lexsort((f["number"], f["u"]))
    f = {key: value[order] for key, value in f.items()}
    n = f["u"].size
    # A removal ends the newest pump on record with a number at or below its own.
    key_f = f["u"] * 1000 + f["number"]
    removed = {name: np.full(n, -1) for name in ("day", "odometer", "removal", "found", "recorded", "bench")}
    if r:
        good = ~r["lost"] & (r["recorded"] <= as_of) & (r["day"] <= as_of)
        at = np.searchsorted(key_f, r["u"][good] * 1000 + r["number"][good], side="right") - 1
        ok = (at >= 0) & (f["u"][np.maximum(at, 0)] == r["u"][good])
        for name in removed:
            removed[name][at[ok]] = r[name][good][ok]
    gone = removed["day"] >= 0
    bench = gone & (removed["bench"] <= as_of)
    found = np.where(bench, removed["found"], np.where(gone, 4, 5))
    number, u = f["number"], f["u"]
    unknown = f["first"] & (luck.uniform("age-unknown", u) < 0.3)
    serial = luck.uniform("serial-kept", u, number) < 0.6
    named = np.char.add(np.char.add("S", (u * 41 + 10007 + number * 977).astype(str)), "X")
    lots = np.array(
        [
            f"{DESIGNS[d].name[2:4]}{lot // 2:02d}{'AB'[lot % 2]}"
            for d, lot in zip(f["design"], f["lot"], strict=True)
        ],
        dtype=object,
    )
    frame = pd.DataFrame(
        {
            "ref": np.char.add(np.char.add(fleet.names[u], "-"), number.astype(str)),
            "unit": fleet.names[u],
            "position": "main",
            "pump_type": np.array([d.name for d in DESIGNS])[f["design"]],
            "serial": np.where(serial | unknown, named.astype(object), None),
            "lot": np.where(luck.uniform("lot-kept", u, number) < 0.85, lots, None),
            "fitted_on": _nat(f["day"], unknown),
            "fitted_odometer": np.where(
                unknown | (luck.uniform("fit-odo", u, number) < 0.04), np.nan, f["odometer"]
            ),
            "removed_on": _nat(removed["day"], ~gone),
            "removed_odometer": np.where(gone, removed["odometer"].astype(float), np.nan),
            "removal": REMOVALS[np.where(gone, removed["removal"], 4)],
            "found": FOUND[found],
        }
    )
    if since is not None:
        fresh = (
            (f["recorded"] > since)
            | (gone & (removed["recorded"] > since))
            | (bench & (removed["bench"] > since))
        )
        frame = frame[fresh].reset_index(drop=True)
    return frame


def _nat(day: np.ndarray, blank: np.ndarray) -> np.ndarray:
    dates = _seconds(_dates(day)).copy()
    dates[blank] = np.datetime64("NaT")
    return dates


def _visits(run: Run, as_of: int, since: int | None) -> pd.DataFrame:
    v = run.log.columns("visits")
    if not v:
        return pd.DataFrame({"unit": [], "visited_on": []})
    rows = np.flatnonzero(_kept(v, as_of, since))
    rows = rows[np.lexsort((v["reason"][rows], v["u"][rows], v["day"][rows]))]
    v = {key: value[rows] for key, value in v.items()}
    luck, u, day = run.fleet.luck, v["u"], v["day"]
    odometer = v["odometer"].astype(float)
    odometer = np.where(luck.uniform("slip", u, day, v["reason"]) < 0.004, _swapped(odometer), odometer)
    odometer = np.where(luck.uniform("no-odo", u, day, v["reason"]) < 0.01, np.nan, odometer)
    got = ~np.isnan(v["mean_a"])
    names = run.fleet.names
    ref = np.char.add(np.char.add(names[u], "/"), (day * 5 + v["reason"]).astype(str))
    depot = run.fleet.depot[u]
    clamp = run.fleet.clamps["name"].astype(object)[v["clamp"]]
    lost_clamp = luck.uniform("clamp-told", u, day) > 0.92
    frame = {
        "ref": ref,
        "unit": names[u],
        "position": "main",
        "visited_on": _seconds(_dates(day)),
        "odometer": odometer,
        "hours": np.round(v["hours"]),
        "reason": REASONS[v["reason"]],
        "state": np.array(STATES, dtype=object)[v["state"]],
        "zero_checked": np.array(["no", "yes"], dtype=object)[v["zero_checked"]],
        "commanded": np.array(["low", "high", None], dtype=object)[
            np.where(v["commanded"] < 0, 2, 1 - v["commanded"])
        ],
        "fuel": np.array(["", "E85"], dtype=object)[v["fuel"]],
    }
    frame["fuel"] = np.where(v["fuel"] == 1, "E85", None)
    for name in VALUES:
        if name != "hours":
            frame[name] = np.round(v[name], DIGITS.get(name, 2))
    frame["mean_a_se"] = np.where(got, np.round(0.004 * v["mean_a"], 4), np.nan)
    frame["ripple_pct_se"] = np.where(np.isnan(v["ripple_pct"]), np.nan, np.round(0.03 * v["ripple_pct"], 3))
    frame["rpm_se"] = np.where(np.isnan(v["rpm"]), np.nan, np.round(0.003 * v["rpm"], 1))
    told_v = ~np.isnan(v["supply_v"])
    frame["supply_v_at"] = np.where(
        told_v, np.array(["pump", "battery", "scan", None], dtype=object)[v["at"]], None
    )
    told_d = ~np.isnan(v["delivery_l_min"])
    frame["delivery_at"] = np.where(
        told_d, np.array(["pressure", "free"], dtype=object)[v["delivery_at"]], None
    )
    for name in ("strainer", "hose", "regulator", "connector"):
        frame[name] = PART[v[name]]
    frame["check_result"] = RESULTS[v["check_result"]]
    any_reading = got | ~np.isnan(v["meter_a"])
    frame["clamp"] = np.where(any_reading & ~lost_clamp, clamp, None)
    frame["clamp_point"] = np.where(any_reading, "pump feed", None)
    who = (luck.uniform("who", u, day) * 3).astype(int)
    frame["technician"] = np.array(
        [f"T{d + 1}{w + 1}" for d, w in zip(depot, who, strict=True)], dtype=object
    )
    return pd.DataFrame(frame)


def _swapped(odometer: np.ndarray) -> np.ndarray:
    """Two digits swapped: the thousands and the ten thousands."""
    thousands, tens = odometer // 1000 % 10, odometer // 10000 % 10
    return odometer + (tens - thousands) * 1000 + (thousands - tens) * 10000


def _services(run: Run, as_of: int, since: int | None) -> pd.DataFrame:
    s = run.log.columns("services")
    if not s:
        return pd.DataFrame({"unit": [], "done_on": [], "odometer": [], "work": []})
    rows = np.flatnonzero(_kept(s, as_of, since))
    rows = rows[np.lexsort((s["work"][rows], s["u"][rows], s["day"][rows]))]
    work = np.array(WORK, dtype=object)[s["work"][rows]]
    frame = pd.DataFrame(
        {
            "unit": run.fleet.names[s["u"][rows]],
            "done_on": _seconds(_dates(s["day"][rows])),
            "odometer": s["odometer"][rows],
            "work": work,
        }
    )
    return frame.drop_duplicates(["unit", "done_on", "work"], ignore_index=True)


def _breakdowns(run: Run, as_of: int, since: int | None) -> pd.DataFrame:
    b = run.log.columns("breakdowns")
    if not b:
        return pd.DataFrame({"unit": [], "happened_on": []})
    rows = np.flatnonzero(_kept(b, as_of, since))
    rows = rows[np.lexsort((b["word"][rows], b["u"][rows], b["day"][rows]))]
    names = run.fleet.names[b["u"][rows]]
    return pd.DataFrame(
        {
            "ref": np.char.add(np.char.add(names, "!"), b["day"][rows].astype(str)),
            "unit": names,
            "position": "main",
            "happened_on": _seconds(_dates(b["day"][rows])),
            "odometer": b["odometer"][rows],
            "pump_confirmed": np.array(["yes", "unknown", "no"], dtype=object)[b["word"][rows]],
            "cost": b["cost"][rows],
        }
    )


def _stock(run: Run) -> pd.DataFrame:
    """One or two pumps of each type that a depot's vehicles have."""
    fleet = run.fleet
    pairs = np.unique(np.stack([fleet.depot, fleet.design]), axis=1)
    return pd.DataFrame(
        {
            "depot": np.array(fleet.depot_names)[pairs[0]],
            "pump_type": np.array([d.name for d in DESIGNS])[pairs[1]],
            "count": 1 + (fleet.luck.uniform("stock", pairs[0], pairs[1]) < 0.5).astype(int),
        }
    )
