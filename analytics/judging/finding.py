"""The finding of each pump's last reading and its next step: the table's word, before any money.

`finding` is the id of the rule, `finding_text` says it, `finding_action` is the action of the first step
that is not passed, `next_test` that step in a sentence. Whether a pump has failed is told here too.
"""

from __future__ import annotations

import json
from collections.abc import Hashable, Iterator
from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.baseline import number, pump_volts, system_v
from analytics.judging.beside import BY_EYE, MEASURED, beside, next_beside, values_beside
from analytics.judging.evidence import ON_BASELINE, evidence, incomparable
from analytics.judging.rules import BOOK, NOTE, RULES, WATCH, Rule
from analytics.judging.rules_first import CIRCUIT
from analytics.judging.steps import STEP_BY_ID
from analytics.judging.wording import BESIDE, FIGURES, fill, values_of, worded
from ingest.settings_in_force import Settings
from ingest.trade_numbers import DEFAULTS
from ingest.wording.language import phrase, template

DONE = {
    BOOK: "Book a replacement: the finding stays and nothing else explains it.",
    WATCH: "Capture at half the usual interval and watch the trend.",
    NOTE: "The next capture as planned.",
}
NO_VALUES = "{}"
SIDES = ("supply", "ground")
OTHER_DROP = "Measure the drop on the {side} side as well, under load."
REPEAT_ZEROED = "Capture again on another day, to see whether it stays."  # nobody zeroes what was zeroed
DROPS_ON_LITTLE = "Drops on so little current prove nothing: measure both again under a test load."
UNTOLD = "connector, untold"  # what a rule says at its end where nobody recorded the connector
BUILT_IN = "filter, built in"  # and where the filter is part of the pump's module, and was never looked at
NEXT_TO_NONE = 0.25  # of the system's volts [P]
QUIET = ("healthy", "no-reading")
# finding, text, action and next test of a pump that broke down and was not read since.
BROKE_DOWN = (
    "broke-down",
    "Broke down on the road, confirmed as the pump's.",
    BOOK,
    "Replace the pump; only a good reading afterwards clears it.",
)


def last_readings(
    judged: pd.DataFrame, services: pd.DataFrame | None = None, settings: Settings | None = None
) -> pd.DataFrame:
    """Return the row of each pump that its finding rests on, by pump_id: the last that shows anything.

    A finding against its own baseline stands for `steps_valid_days` over readings that could not show it,
    unless work was done since.
    """
    ordered = judged.sort_values(["pump_id", "visited_on", "visit_id"], kind="stable")
    tells = ~(ordered["no_current_reading"].to_numpy(bool) & ordered["rule"].isin(QUIET).to_numpy())
    unlike = incomparable(ordered)
    if unlike.any():
        tells &= ~(unlike & _stands_before(ordered, tells & ~unlike, services, settings or DEFAULTS))
    rank = pd.Series(np.where(tells, 1, 0), index=ordered.index)
    ordered = ordered.assign(_tells=rank).sort_values(["pump_id", "_tells"], kind="stable")
    last = ordered.groupby("pump_id", sort=True).tail(1).drop(columns="_tells")
    return last.set_index("pump_id")


def _stands_before(
    ordered: pd.DataFrame, tells: np.ndarray, services: pd.DataFrame | None, settings: Settings
) -> np.ndarray:
    """Whether the pump's last telling reading up to each visit is a finding that stands on its day (n,)."""
    pump, day = ordered["pump_id"], pd.to_datetime(ordered["visited_on"])
    found = ordered["rule"].where(tells).groupby(pump).ffill().isin(ON_BASELINE)
    since = day.where(tells).groupby(pump).ffill()
    stands = (
        (found & (day - since <= pd.Timedelta(days=float(settings["steps_valid_days"])))).to_numpy().copy()
    )
    if services is not None and len(services) and stands.any():
        done = services.assign(done_on=pd.to_datetime(services["done_on"])).groupby("unit")["done_on"]
        days = done.apply(lambda days: days.to_numpy())
        for i in np.flatnonzero(stands):
            work = days.get(ordered["unit"].iloc[i], np.array([], "datetime64[ns]"))
            stands[i] = not ((work >= since.iloc[i]) & (work <= day.iloc[i])).any()
    return stands


def decide_findings(
    judged: pd.DataFrame,
    services: pd.DataFrame | None = None,
    settings: Settings | None = None,
    *,
    breakdowns: pd.DataFrame | None = None,
    last: pd.DataFrame | None = None,
) -> pd.DataFrame:
    """Return one row per pump: finding, finding_text, finding_values, finding_action, next_test, missing,
    failed, down_since, not_working, may_run_short, circuit_proven, cause_found.

    `finding_values`: what the text is made from besides the rule's words, as JSON.
    `missing` names the steps not yet passed, separated by commas. `failed`: a stall, no current on proven
    volts, or a breakdown confirmed as the pump's, with no good reading since; `down_since` its day.
    `not_working`: by its last reading too little is delivered, no current taken, or the pump stands still,
    whatever explains that; `may_run_short`: so, but something is delivered; `circuit_proven`: the volts and
    drops measured there do. `cause_found`: a cause beside the pump was measured or seen and waits for its
    mending.

    judged: rows from verdict.judge, every visit of each pump up to the day in question. services: unit,
    done_on, work. breakdowns: pump_id, happened_on, confirmed as the pump's. last: from `last_readings`,
    where it was asked already. Index: pump_id.
    """
    settings = settings or DEFAULTS
    judged = judged.sort_values(["pump_id", "visited_on", "visit_id"], kind="stable")
    last = last_readings(judged, services, settings) if last is None else last
    passed = evidence(judged, last, services, settings)
    action = pd.Series(NOTE, index=last.index, dtype=object)
    test = pd.Series("", index=last.index, dtype=object)
    missing = np.full(len(last), "", object)
    failed = pd.Series(False, index=last.index)
    text = pd.Series("", index=last.index, dtype=object)
    values = pd.Series(NO_VALUES, index=last.index, dtype=object)
    for rule in RULES:
        mine = (last["rule"] == rule.id).to_numpy()
        if not mine.any():
            continue
        done = mine.copy()
        besides = beside(rule, last[mine])
        for order, these in _orders(rule, last, mine):
            for step in order:
                lacks = these & ~passed[step].to_numpy(bool)
                missing[lacks] += f", {step}"
                now = done & lacks
                if now.any():
                    action[now] = STEP_BY_ID[step].action
                    test[now] = _tests(rule, step, last[now], passed[now], settings)
                done &= ~lacks
        action[done] = rule.end
        test[done] = phrase(rule.done or DONE[rule.end])
        if UNTOLD in rule.says:
            test[done & ~passed["connector_found"].to_numpy(bool)] = phrase(rule.says[UNTOLD])
        if BUILT_IN in rule.says:
            built_in = (last["filter"] == "module").to_numpy() & ~passed["filter_found"].to_numpy(bool)
            test[done & built_in] = phrase(rule.says[BUILT_IN])
        if any(besides):
            then = np.array([next_beside(names) for names in besides], dtype=object)
            test[mine] = test[mine].where(action[mine] == BOOK, test[mine] + then)
        failed |= done & rule.fails
        text[mine], values[mine] = _said(rule, last[mine], besides, settings)
    out = pd.DataFrame(
        {
            "finding": last["rule"],
            "finding_text": text,
            "finding_values": values,
            "finding_action": action,
            "next_test": test,
            "missing": [steps.removeprefix(", ") for steps in missing],
            "failed": failed,
            "down_since": pd.to_datetime(last["visited_on"]).where(failed),
            "not_working": _stands(last) | _short(last),
            "may_run_short": _short(last) & ~_stands(last),
            "circuit_proven": _circuit_proven(last, passed["times_seen"].to_numpy()),
            "cause_found": _cause_found(last) & (action != NOTE).to_numpy(),
            "visited_on": last["visited_on"],
        }
    )
    return out if breakdowns is None or not len(breakdowns) else _broken_down(out, judged, breakdowns)


def _orders(rule: Rule, last: pd.DataFrame, mine: np.ndarray) -> Iterator[tuple[tuple[str, ...], np.ndarray]]:
    """Yield the orders in which a rule's steps are taken, each with the pumps (n,) of `mine` that take it."""
    left = mine.copy()
    for fact, _ in rule.leads:
        these = left & last[fact].to_numpy(bool)
        if these.any():
            yield rule.order(fact), these
        left &= ~these
    if left.any():
        yield rule.steps, left


def _stands(last: pd.DataFrame) -> np.ndarray:
    """Whether by each pump's last reading the engine gets no fuel at all (n,)."""
    names = ("dead", "running", "stall_current", "no_ripple", "nothing_delivered")
    fact = {name: last[name].to_numpy(bool) for name in names}
    stalled = fact["stall_current"] & fact["no_ripple"]
    return np.asarray((fact["dead"] & ~fact["running"]) | stalled | fact["nothing_delivered"])


def _short(last: pd.DataFrame) -> np.ndarray:
    """Whether by each pump's last reading the engine may get too little fuel to run (n,)."""
    return np.asarray(last["poor"].to_numpy(bool) | last["rule:runs-dry"].to_numpy(bool))


def _circuit_proven(last: pd.DataFrame, times_seen: np.ndarray) -> np.ndarray:
    """Whether measured volts and drops explain by themselves that no current flows or little is delivered
    (n,)."""
    short = last["rule"].isin([rule.id for rule in CIRCUIT]) & last["poor"] & ~last["circuit_leaves_short"]
    return np.asarray((last["rule"] == "no-current") & _volts_missing(last, times_seen) | short, bool)


def _cause_found(last: pd.DataFrame) -> np.ndarray:
    """Whether the finding is itself a cause beside the pump, measured or seen (n,)."""
    # Low volts where nobody says whether the engine ran may be those of a battery at rest.
    untold = last["maybe_primed"].to_numpy(bool) & ~last["drop_high"].to_numpy(bool)
    return np.asarray(last["rule"].isin((*MEASURED, *BY_EYE)).to_numpy() & ~untold, bool)


def _volts_missing(last: pd.DataFrame, times_seen: np.ndarray) -> np.ndarray:
    """Whether a pump without current is proven to get too few volts (n,); times_seen: that finding (n,)."""
    volts = pump_volts(last)
    # Once asked, low volts read at the pump are the answer; nobody is asked for the same again.
    told = last["connector_good"].to_numpy(bool) | (times_seen >= 2)
    # Next to no volts while the pump is commanded on are none under load either [P].
    told |= (volts < NEXT_TO_NONE * system_v(last)) & last["primed"].to_numpy(bool)
    return np.asarray(last["supply_low"].to_numpy(bool) & ~np.isnan(volts) & told)


def _tests(rule: Rule, step: str, last: pd.DataFrame, passed: pd.DataFrame, settings: Settings) -> np.ndarray:
    """The next test of each pump in words (n,), never asking for what was just entered."""
    own = rule.says.get(step)
    texts = np.full(len(last), template(own or STEP_BY_ID[step].text), dtype=object)
    drops, volts = passed["drops_good"].to_numpy(bool), passed["volts_good"].to_numpy(bool)
    if step == "circuit" and own is None:
        texts[volts & ~drops] = phrase("Measure both drops at the pump under load.")
        given = [~np.isnan(number(last, f"drop_{side}_v")) for side in SIDES]
        for side, this, other in zip(SIDES, given, given[::-1], strict=True):
            texts[volts & ~drops & ~this & other] = phrase(OTHER_DROP, side=phrase(side))
        texts[volts & ~drops & given[0] & given[1]] = phrase(DROPS_ON_LITTLE)
        texts[drops & ~volts] = phrase("Measure volts at the pump under load.")
    elif f"{step}, volts low" in rule.says:
        proven = _volts_missing(last, passed["times_seen"].to_numpy())
        texts[proven] = template(rule.says[f"{step}, volts low"])
    elif f"{step}, primed" in rule.says:
        texts[last["primed"].to_numpy(bool)] = template(rule.says[f"{step}, primed"])
        if (counted := f"{step}, segments contradicted") in rule.says:  # telling them again helps nobody
            texts[last["segments_contradicted"].to_numpy(bool)] = template(rule.says[counted])
    elif f"{step}, drops good" in rule.says:
        # Nobody says that volts are short where nobody read them.
        told = volts | last["supply_low"].to_numpy(bool) | ~np.isnan(pump_volts(last))
        texts[drops & told] = template(rule.says[f"{step}, drops good"])
        if f"{step}, state untold" in rule.says:
            untold = last["maybe_primed"].to_numpy(bool) & ~last["drop_high"].to_numpy(bool)
            texts[untold] = template(rule.says[f"{step}, state untold"])
        if f"{step}, drops high" in rule.says:
            texts[last["drop_high"].to_numpy(bool)] = template(rule.says[f"{step}, drops high"])
    elif step == "repeat" and own is None:
        texts[last["zeroed"].to_numpy(bool)] = phrase(REPEAT_ZEROED)
    elif f"{step}, held back" in rule.says:
        texts[last["held_back"].to_numpy(bool)] = template(rule.says[f"{step}, held back"])
    elif step == "level" and own is None:
        refuel = phrase("Refuel to above a quarter tank, then measure again.")
        texts[last["level_low"].to_numpy(bool)] = refuel
    return _filled(texts, last, settings)


def _said(
    rule: Rule, last: pd.DataFrame, besides: list[tuple[str, ...]], settings: Settings
) -> tuple[np.ndarray, np.ndarray]:
    """The finding of each pump in words and the values it is made from, as JSON (n,); besides: what stands
    beside it."""
    texts = np.full(len(last), template(rule.text), dtype=object)
    values = np.full(len(last), NO_VALUES, dtype=object)
    rows = [*range(len(last))] if "{" in rule.text else [i for i, names in enumerate(besides) if names]
    for i, visit in zip(rows, _figures(last.iloc[rows]), strict=True):
        told = values_of(rule.text, visit, settings)
        if besides[i]:
            told[BESIDE] = values_beside(besides[i], visit, settings)
        texts[i], values[i] = worded(rule.text, told), json.dumps(told)
    return texts, values


def _filled(texts: np.ndarray, last: pd.DataFrame, settings: Settings) -> np.ndarray:
    """Fill figures into those sentences (n,) that hold any."""
    out = texts.copy()
    rows = np.flatnonzero(["{" in text for text in texts])
    for i, visit in zip(rows, _figures(last.iloc[rows]), strict=True):
        out[i] = fill(texts[i], visit, settings)
    return out


def _figures(last: pd.DataFrame) -> list[dict[Hashable, Any]]:
    """What may fill places in the sentences about each visit."""
    return last[[name for name in dict.fromkeys(FIGURES) if name in last]].to_dict("records")


def _broken_down(out: pd.DataFrame, judged: pd.DataFrame, breakdowns: pd.DataFrame) -> pd.DataFrame:
    """Count pumps as failed that broke down on the road and have shown no good reading since."""
    broke = breakdowns.groupby("pump_id")["happened_on"].max().reindex(out.index)
    good = judged[judged["sound"] & ~judged["carried"]].groupby("pump_id")["visited_on"].max()
    down = broke.notna() & ~(pd.to_datetime(good.reindex(out.index)) > pd.to_datetime(broke))
    if not down.any():
        return out
    out = out.copy()
    finding, said, action, test = BROKE_DOWN
    told = (finding, phrase(said), action, phrase(test))
    out.loc[down, ["finding", "finding_text", "finding_action", "next_test"]] = told
    out.loc[down, ["missing", "finding_values"]] = "", NO_VALUES
    out["down_since"] = pd.to_datetime(broke).where(down, out["down_since"])
    return out.assign(failed=out["failed"] | down)
