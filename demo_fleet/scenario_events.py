"""What a shop sees besides wear: wiring, empty tanks, bad bars, other visits, and errors in writing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd

from demo_fleet.catalogue import PUMP_KINDS
from demo_fleet.fleet_pumps import KM_PER_MI, REFERENCE_V
from demo_fleet.scenario_tables import METRICS, Story
from ingest.sensitivities import log_volts_ratio, sensitivities

# The newest visit shows it: how many, current and speed (factors), ripple added (points), fuel level,
# delivery (factor).
_AT_LAST_VISIT: dict[str, tuple[int, float, float, float, float | None, float]] = {
    "starved strainer": (2, 0.80, 1.06, 1.5, 7.0, 0.5),
    "pumping vapour": (1, 0.56, 1.17, 4.0, 3.0, 0.1),
    "restricted filter": (3, 1.16, 0.935, 0.5, None, 0.8),
    "burnt bar": (2, 0.99, 0.985, 14.0, None, 1.0),
    "open coil": (1, 0.94, 0.82, 50.0, None, 0.7),
}


def add_events(story: Story, seed: int) -> Story:
    """Return the story with faults that are not wear, other reasons to visit, and gaps in the records."""
    rng = np.random.default_rng((seed, 22))
    visits = story.visits.copy()
    services, breakdowns = [story.services], [story.breakdowns]
    open_lives = _in_service(story, visits)
    free = list(rng.permutation(open_lives))

    for event, (count, current, speed, ripple, level, delivery) in _AT_LAST_VISIT.items():
        for _ in range(min(count, len(free))):
            at = _last(visits, free.pop())
            row = _row(visits, at)
            changed = {"mean_a": row["mean_a"] * current, "rpm": row["rpm"] * speed}
            changed |= {"ripple_pct": row["ripple_pct"] + ripple, "delivery_l_min": round(2 * delivery, 2)}
            if level is not None:
                changed |= {"fuel_level_pct": level, "note": "fuel light on"}
            _put(visits, at, true_event=event, **changed)
    for n in range(min(5, len(free))):
        life = free.pop()
        back = 2 if n < 2 else 1  # two were found and mended, three are still there
        at = _last(visits, life, back)
        _lower_volts(visits, at, rng.uniform(1.5, 2.3))
        _put(visits, at, true_event="bad ground")
        if n < 2:
            row = _row(visits, at)
            services.append(
                pd.DataFrame(
                    {
                        "unit": [row["unit"]],
                        "done_on": [row["visited_on"] + pd.Timedelta(days=2)],
                        "odometer": [row["odometer"] + 20],
                        "work": ["wiring"],
                        "note": ["ground strap renewed"],
                    }
                )
            )
    for _ in range(min(2, len(free))):
        row = _row(visits, _last(visits, free.pop()))
        services.append(
            pd.DataFrame(
                {
                    "unit": [row["unit"]],
                    "done_on": [row["visited_on"]],
                    "odometer": [row["odometer"]],
                    "work": ["tank_cleaned"],
                    "note": ["water in the separator"],
                }
            )
        )
    visits = _primes(visits, rng)
    visits = _complaints(story, visits, rng)
    looks, filters = _second_looks(story, visits, free, rng)
    services.append(filters)
    visits = pd.concat([visits, looks, _after_repair(story, visits, rng)], ignore_index=True)
    breakdowns.append(_other_breakdowns(story, visits, rng))
    visits = visits.sort_values(["visited_on", "unit"]).reset_index(drop=True)
    visits = _gaps(visits, rng)
    return replace(
        story,
        visits=visits,
        services=pd.concat(services, ignore_index=True),
        breakdowns=pd.concat(breakdowns, ignore_index=True).sort_values("happened_on"),
    )


def add_entry_errors(story: Story, seed: int) -> Story:
    """Return the story with a few things wrong in writing; each is in `story.dirt`."""
    rng = np.random.default_rng((seed, 23))
    visits, pumps = story.visits.copy(), story.pumps.copy()
    dirt = list(story.dirt)
    # Only visits with a neighbour on both sides, told apart by their serial, and without a waveform.
    rank = visits.groupby("life")["odometer"].rank()
    size = visits.groupby("life")["odometer"].transform("size")
    plain = visits.index[
        (rank > 2) & (rank < size - 1) & (visits["capture"] == "") & (visits["odometer"] > 30e3)
    ]
    picked = list(rng.choice(plain, 8, replace=False))

    def falsify(what: str, at: int, **cells: Any) -> None:
        dirt.append({"ref": _row(visits, at)["ref"], "error": what})
        _put(visits, at, **cells)

    for _ in range(2):
        at = picked.pop()
        falsify("kilometres entered as miles", at, odometer=round(_row(visits, at)["odometer"] * KM_PER_MI))
    at = picked.pop()
    falsify("a wrong digit in the odometer", at, odometer=_row(visits, at)["odometer"] + 40_000)
    at = picked.pop()
    digits = f"{_row(visits, at)['odometer']:.0f}"
    swapped = float(digits[0] + digits[2] + digits[1] + digits[3:])
    falsify("two digits of the odometer swapped", at, odometer=swapped)
    at = picked.pop()
    depot, number = str(_row(visits, at)["unit"]).split("-")
    falsify("a unit number nearly that of another", at, unit=f"{depot}-{int(number):02d}", serial="")
    at = picked.pop()
    row = _row(visits, at)
    wild = {"mean_a": 0.71 * row["mean_a"], "ripple_pct": 1.5 * row["ripple_pct"], "rpm": 1.05 * row["rpm"]}
    falsify("a wild reading", at, **wild)
    unnamed = (rng.random(len(visits)) < 0.1).tolist()
    visits.loc[unnamed, "serial"] = ""
    unknown = pumps.index[(pumps["removal"] == "") & (pumps["fitted_odometer"] == 0)]
    pumps.loc[rng.choice(unknown, min(5, len(unknown)), replace=False), ["fitted_on", "fitted_odometer"]] = (
        None
    )
    return replace(story, visits=visits, pumps=pumps, dirt=dirt)


def _in_service(story: Story, visits: pd.DataFrame) -> list[int]:
    """Lives in service on a direct feed with at least three visits."""
    direct = {k.pump_type for k in PUMP_KINDS if not k.pwm_hz}
    pumps = story.pumps
    lives = pumps.loc[(pumps["removal"] == "") & pumps["pump_type"].isin(direct), "life"]
    count = visits.groupby("life").size()
    return [int(life) for life in lives if count.get(life, 0) >= 3]


def _last(visits: pd.DataFrame, life: int, back: int = 1) -> int:
    """Row of a pump's newest visit, or of one further back."""
    rows = visits[visits["life"] == life].sort_values("visited_on")
    return int(rows.index[-back])


def _lower_volts(visits: pd.DataFrame, at: int, by_v: float) -> None:
    """Take volts away between battery and pump; current and speed follow."""
    row = _row(visits, at)
    after = row["supply_v"] - by_v
    s = sensitivities()
    volts = np.array([after, row["supply_v"]])
    change = -float(np.diff(log_volts_ratio(volts, REFERENCE_V))[0])
    _put(
        visits,
        at,
        supply_v=round(after, 2),
        motor_v=round(after, 2),
        drop_ground_v=round(by_v + 0.05, 2),
        drop_supply_v=0.21,
        rpm=round(row["rpm"] * np.exp(s.speed_volts * change)),
        mean_a=round(row["mean_a"] * np.exp(s.current_volts * change), 3),
    )


def _row(visits: pd.DataFrame, at: int) -> dict[str, Any]:
    return {str(name): value for name, value in visits.loc[at].items()}


def _put(visits: pd.DataFrame, at: int, **cells: Any) -> None:
    for name, value in cells.items():
        visits.at[at, name] = value


def _primes(visits: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Some captures are taken at key-on, engine off: lower volts, and said so."""
    direct = visits["kind"].map(lambda k: not PUMP_KINDS[k].pwm_hz) & (visits["true_event"] == "")
    for at in visits.index[direct & (rng.random(len(visits)) < 0.02)].tolist():
        before = _row(visits, at)
        drops = {name: before[name] for name in ("drop_ground_v", "drop_supply_v")}
        _lower_volts(visits, at, rng.uniform(1.2, 1.7))
        _put(visits, at, state="prime", note="engine off, battery volts", **drops)
    return visits


def _complaints(story: Story, visits: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """A few pumps were looked at because the driver complained, shortly before they failed."""
    failed = story.pumps.loc[story.pumps["removal"] == "failed", "life"]
    for life in rng.choice(failed, min(8, len(failed)), replace=False):
        if (visits["life"] == life).any():
            at = _last(visits, int(life))
            _put(visits, at, reason="complaint", note="slow to start when hot")
    return visits


def _second_looks(
    story: Story, visits: pd.DataFrame, lives: list[int], rng: np.random.Generator
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The pumps furthest gone were looked at again some days later, as the trade has it: zero checked, volts
    and both drops measured, fuel in the tank, delivery measured, an inline filter changed before."""
    last = visits.loc[[_last(visits, life) for life in lives]]
    last = last[last["visited_on"] <= pd.Timestamp(story.today) - pd.Timedelta(days=8)]
    dragging = last["true_drag"].nlargest(4).index.tolist()
    worn = last["true_wear"].nlargest(4).index.tolist()
    rows, filters = [], []
    for at in dict.fromkeys(dragging + worn):
        _put(visits, at, drop_supply_v=0.24, drop_ground_v=0.05, state="idle")
        row = _row(visits, at)
        days = int(rng.integers(3, 8))
        odometer = row["odometer"] + 30 * days
        if PUMP_KINDS[row["kind"]].filter == "inline":
            changed_on = row["visited_on"] + pd.Timedelta(days=1)
            filters.append(
                {
                    "unit": row["unit"],
                    "done_on": changed_on,
                    "odometer": row["odometer"] + 10,
                    "work": "filter",
                    "note": "changed on a finding",
                }
            )
        shift = np.exp(rng.normal(0, [0.006, 0.002]))
        row |= {
            "visited_on": row["visited_on"] + pd.Timedelta(days=days),
            "odometer": odometer,
            "hours": round(odometer * KM_PER_MI / 38),
            "mean_a": round(row["mean_a"] * shift[0], 3),
            "rpm": round(row["rpm"] * shift[1]),
            "fuel_level_pct": float(rng.integers(50, 95)),
            "delivery_l_min": round(float(rng.uniform(1.9, 2.2)), 2),
            "zero_check": True,
            "note": "second look",
            "ref": f"R{row['life']:05d}",
        }
        rows.append(row)
    looks = pd.DataFrame(rows, columns=visits.columns).astype(visits.dtypes.to_dict())
    return looks, pd.DataFrame(filters, columns=story.services.columns)


def _after_repair(story: Story, visits: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Captures of new pumps, taken when they were fitted: the pump's first healthy reading."""
    first = visits.sort_values("visited_on").groupby("life").head(1).set_index("life", drop=False)
    rows = []
    began = visits["visited_on"].min() if len(visits) else pd.Timestamp(story.today)
    fitted = story.pumps[(story.pumps["fitted_odometer"] > 0) & (story.pumps["fitted_on"] > began)]
    for pump in fitted.to_dict("records"):
        life = pump["life"]
        if life not in first.index or rng.random() > 0.45:
            continue
        row = _row(first, life)
        visited_on = pump["fitted_on"] + pd.Timedelta(days=1)
        if not visited_on < min(row["visited_on"], pd.Timestamp(story.today)):
            continue
        odometer = pump["fitted_odometer"] + int(rng.integers(2, 15))
        shift = np.exp(rng.normal(0, [0.006, 0.003]))
        row |= {
            "visited_on": visited_on,
            "odometer": odometer,
            "hours": round(odometer * KM_PER_MI / 38),
            "mean_a": round(row["mean_a"] * shift[0], 3),
            "rpm": round(row["rpm"] * shift[1]),
            "ripple_pct": round(row["ripple_pct"] - row["true_wear"] - 0.2, 2),
            "true_wear": 0.0,
            "true_drag": 0.0,
            "true_event": "",
            "reason": "after-repair",
            "note": "",
            "delivery_l_min": np.nan,
            "ref": f"F{life:05d}",
        }
        rows.append(row)
    return pd.DataFrame(rows, columns=visits.columns).astype(visits.dtypes.to_dict())


def _other_breakdowns(story: Story, visits: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Road calls that were not the pump."""
    notes = (
        "ground strap corroded through",
        "relay stuck open",
        "fuse blown, harness chafed",
        "ran dry",
        "inertia switch",
    )
    recent = visits["visited_on"] > visits["visited_on"].max() - pd.Timedelta(days=1000)
    at = rng.choice(visits.index[recent], len(notes), replace=False)
    rows = visits.loc[at]
    days = rng.integers(5, 40, len(rows))
    return pd.DataFrame(
        {
            "unit": rows["unit"].to_numpy(),
            "happened_on": [
                min(d.date() + timedelta(days=int(k)), story.today)
                for d, k in zip(rows["visited_on"], days, strict=True)
            ],
            "odometer": (rows["odometer"] + 40 * days).round().to_numpy(),
            "pump_confirmed": "no",
            "cost": np.round(900 * np.exp(rng.normal(0, 0.3, len(rows)))),
            "note": notes,
        }
    ).astype({"happened_on": "datetime64[ns]"})


def _gaps(visits: pd.DataFrame, rng: np.random.Generator) -> pd.DataFrame:
    """Meter-only visits, covariates nobody wrote down, and what can't be told of a pulsed pump."""
    n = len(visits)
    plain = (visits["true_event"] == "") & (visits["reason"] == "pm") & (visits["note"] != "second look")
    older = visits["visited_on"] < visits["visited_on"].max() - pd.Timedelta(days=400)
    visits["motor_a"], visits["motor_rpm"] = visits["mean_a"], visits["rpm"]
    visits["motor_ripple_pct"] = visits["ripple_pct"]
    meter = plain & older & (rng.random(n) < 0.06)
    visits.loc[meter, "meter_a"] = visits["mean_a"].round(1)
    visits.loc[meter, [*METRICS, "mean_a_se", "rpm_se"]] = np.nan
    for name in ("supply_v", "fuel_pressure_kpa", "fuel_temp_c", "fuel_level_pct"):
        visits.loc[plain & (rng.random(n) < 0.07), name] = np.nan
    pwm = visits["kind"].map(lambda k: PUMP_KINDS[k].pwm_hz > 0)
    visits.loc[pwm, ["rpm", "rpm_se", "ripple_pct"]] = np.nan
    return visits
