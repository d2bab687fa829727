"""Every visit held against the trade rules: prepared, its baseline found, its facts told, its rule chosen."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pandas as pd

from analytics.judging.baseline import (
    LEAST_BASELINE,
    add_baseline,
    add_levels,
    add_other_state,
    coded,
    number,
)
from analytics.judging.complaints import open_since
from analytics.judging.delivery import delivery_facts
from analytics.judging.examined import carry_readings, part_facts
from analytics.judging.explained import change_facts
from analytics.judging.facts import circuit_facts, current_facts, motion_facts
from analytics.judging.rules import RULES
from analytics.judging.segments import segment_facts
from ingest.settings_in_force import Settings
from ingest.trade_numbers import DEFAULTS

IDS = np.array([rule.id for rule in RULES], dtype=object)
NAMES = [f"rule:{rule.id}" for rule in RULES]
SOUND = np.array([not rule.fault for rule in RULES])
FOR_CHANGES = ("at_spec_a", "book_accuracy_a", "supply_good", "drops_passed", "connector_good")


def judge(
    visits: pd.DataFrame, settings: Settings | None = None, services: pd.DataFrame | None = None
) -> pd.DataFrame:
    """Judge many visits at once.

    visits: rows of the view `visit_detail`: any pumps, all visits of each up to the day in question;
    with `type_a` and `type_pumps` (type_level.with_type_level) where pumps are to be held against their type.
    services: unit, done_on, work up to that day.
    Returns the same rows in order of pump and time with the facts, `rule` (id), `sound` (no fault in itself)
    and one bool column `rule:<id>` per rule that holds.
    """
    settings = settings or DEFAULTS
    prepared = add_levels(coded(carry_readings(visits, settings, services)), settings)
    same = {
        **delivery_facts(prepared, settings),
        **segment_facts(prepared, settings),
        **part_facts(prepared, services),
    }
    # Once without any baseline: a reading founds one only if its own verdict is no fault.
    alone = _facts(prepared, settings, same)
    prepared = add_other_state(add_baseline(prepared, _sound(alone), settings, services))
    known = _facts(prepared, settings, same)
    known["sound"] = _sound(known)
    since = open_since(pd.concat([prepared, pd.DataFrame(known, index=prepared.index)], axis=1), services)
    known["complaint_open"] = since.notna().to_numpy()
    holds = _holds(known)
    told = [pd.DataFrame(known, index=prepared.index), pd.DataFrame(holds.T, prepared.index, NAMES)]
    return pd.concat([prepared, *told], axis=1).assign(rule=IDS[holds.argmax(axis=0)], complaint_since=since)


def _facts(prepared: pd.DataFrame, settings: Settings, same: dict[str, np.ndarray]) -> dict[str, np.ndarray]:
    """Return the facts about each visit, (n,) each, complaints apart; same: those that no baseline alters."""
    changed = prepared.assign(
        current_change_pct=_change_pct(prepared, "ln_a"), speed_change_pct=_change_pct(prepared, "ln_rpm")
    )
    with np.errstate(invalid="ignore", divide="ignore"):
        made = {
            "current_change_pct": changed["current_change_pct"].to_numpy(),
            "speed_change_pct": changed["speed_change_pct"].to_numpy(),
            **circuit_facts(changed, settings),
            **current_facts(changed, settings),
            **motion_facts(changed, settings),
            **same,
        }
    made |= change_facts(changed.assign(**{name: made[name] for name in FOR_CHANGES}), settings)
    made["flow_low_pattern"] = (
        made["current_below"] | made["current_very_low"] | made["current_fell_far"]
    ) & ~made["speed_fell_far"]
    made["hardly_loaded"] = made["current_very_low"] | made["current_halved"]
    made["current_changed_far"] = made["current_fell_far"] | made["current_rose_far"]
    own_level = number(prepared, "baseline_count", 0) >= LEAST_BASELINE
    lowish = made["current_lowish"] & ~(own_level & ~made["current_undecided"])
    made["little_on_low_tank"] = made["level_low"] & (
        made["flow_low_pattern"] | (lowish & ~made["speed_fell_far"])
    )
    # A restriction before the pump unloads it, one after it loads it.
    made["held_back"] = made["poor"] & made["current_rose"] & made["speed_fell"]
    made["own_level_known"] = own_level
    made["complaint_open"] = np.zeros(len(prepared), bool)
    return made


def _sound(known: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return whether the first rule that holds for each visit is no fault, (n,)."""
    return SOUND[_holds(known).argmax(axis=0)]


def _holds(known: Mapping[str, np.ndarray]) -> np.ndarray:
    """Return whether each rule holds for each visit, (rules, n)."""
    holds = np.ones((len(RULES), len(known["complaint_open"])), bool)
    for row, rule in zip(holds, RULES, strict=True):
        for fact in rule.when:
            row &= known[fact]
        for fact in rule.unless:
            row &= ~known[fact]
    return holds


def _change_pct(prepared: pd.DataFrame, metric: str) -> np.ndarray:
    """Change from own baseline, %; told from two good readings at least."""
    if f"baseline_{metric}" not in prepared:
        return np.full(len(prepared), np.nan)
    count = prepared["baseline_count" if metric == "ln_a" else "baseline_rpm_count"]
    change = 100 * np.expm1((prepared[metric] - prepared[f"baseline_{metric}"]).to_numpy(float))
    return np.where(count >= LEAST_BASELINE, change, np.nan)
