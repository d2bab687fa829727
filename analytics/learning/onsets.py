"""Learn the damages with an onset (hydraulic, commutator, brush): first from the readings, then how they end
a pump from what followed each visit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import numpy as np
from scipy.special import expit

from analytics.learning.failure import (
    HARMLESS,
    MOST_HARMLESS,
    Others,
    farthest,
    gap_likelihood,
    learn_failure,
    least_factor,
    other_hazards,
    with_others_likelihood,
)
from analytics.learning.gaps import Gaps, last_gaps
from analytics.learning.shrinking import MOST_BAD, Columns, Prior, first_levels, maximise, mean_for_others
from analytics.past.history import History
from analytics.past.normalise import Channels
from analytics.wear_model.model import Parameters
from analytics.wear_model.onsets import NAMES, OnsetParameters, Onsets, Shown, filter_one
from analytics.wear_model.readings import Readings

# Usual value and sd of its natural log, in the channel's units a 10,000 km; common practice, no source.
ONSET_PRIOR: dict[str, Prior] = {
    "hydraulic": {
        "level_var": (0.05**2, 0.8),
        "noise": (0.02**2, 1.0),
        "scale_km": (280e3, 0.6),
        "growth": (0.06, 0.5),
        "growth_cv": (0.5, 0.3),
        "shape": (1.8, 0.3),
        "bad": (0.01, 1.0),
        "jump": (0.02, 0.7),
        "aside_km": (150e3, 0.7),
        "aside_sd": (0.08, 0.5),
        "flow_points": (2.5, 0.3),
        "at_once_km": (2e6, 0.7),
    },
    "commutator": {
        "level_var": (0.15**2, 0.8),
        "noise": (0.1**2, 1.0),
        "scale_km": (350e3, 0.6),
        "growth": (0.15, 0.5),
        "growth_cv": (0.5, 0.3),
        "shape": (1.3, 0.2),
        "bad": (0.01, 1.0),
        "jump": (0.2, 0.7),
        "aside_km": (300e3, 0.7),
        "aside_sd": (0.3, 0.5),
        "at_once_km": (8e6, 0.35),
    },
    "brush": {
        "level_var": (0.03**2, 0.8),
        "noise": (0.015**2, 1.0),
        "scale_km": (280e3, 0.6),
        "growth": (0.05, 0.5),
        "growth_cv": (0.5, 0.3),
        "shape": (1.8, 0.3),
        "bad": (0.01, 1.0),
        "jump": (0.01, 0.7),
        "aside_km": (150e3, 0.7),
        "aside_sd": (0.06, 0.5),
        "at_once_km": (2e6, 0.7),
    },
}
FAILS_PRIOR: dict[str, Prior] = {
    "hydraulic": {"fails_at": (0.22, 0.4), "spread": (0.35, 0.3), "starts": (1.0, 0.5), "harmless": HARMLESS},
    "commutator": {"fails_at": (0.7, 0.4), "spread": (0.35, 0.3), "starts": (1.0, 0.5), "harmless": HARMLESS},
    "brush": {"fails_at": (0.2, 0.4), "spread": (0.35, 0.3), "starts": (1.0, 0.5), "harmless": HARMLESS},
}
# Most that comes at once, times the level where such damage usually ends a pump: a dead bar or coil makes
# ripple many times what it was (common practice, no source).
MOST_AT_ONCE = {"hydraulic": 1.0, "commutator": 2.5, "brush": 1.0}
ENDS_TELL = ("scale_km", "shape")  # what refine_onsets learns again
SHOW_AS_WEAR = ("commutator", "brush")
TRADE_KNOWS = ("scale_km", "shape", "growth", "growth_cv", "jump")
# Four fleets in five have brush and commutator damage as the trade knows it (common practice, no source).
ODDS, LEAST_CHANCE = 4.0, 0.05
# Most by which causes beside the pump usually shift ripple: what lies far beyond is the pump's own (common
# practice, no source).
MOST_ASIDE = {"commutator": 0.45}
OPEN_LEVEL_VAR = 25.0  # of a level that no pump was read at yet, of its natural log: it says nothing
JUMP_SPREAD = 0.7  # of the jump's mean: common practice, no source
MOST_NOISE, NOISE_READINGS = 50.0, 30.0  # most a type's noise may lie off; pairs' worth of belief in none


def initial_onsets(types: int) -> Onsets:
    """Return the trade-knowledge priors as parameters."""
    one = np.ones(types)
    made = {}
    for name in NAMES:
        value = {k: v[0] for k, v in ONSET_PRIOR[name].items()}
        fails = {k: v[0] for k, v in FAILS_PRIOR[name].items()}
        plain = OnsetParameters(
            level=0.0 * one,
            level_var=1.0,
            noise=1.0,
            filter_per_km=0.0,
            scale_km=1.0,
            shape=1.0,
            starts=one,
            growth=1.0,
            growth_cv=1.0,
            fails_at=fails["fails_at"],
            fails_at_sd=fails["fails_at"] * fails["spread"],
            factor=one,
            type_noise=one,
        )
        made[name] = _with(replace(plain, most_at_once=MOST_AT_ONCE[name] * fails["fails_at"]), name, value)
    return Onsets(**made)


def learn_onsets(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn all three from the readings alone; weight (pumps,) of the sample."""
    read = Readings(p, sample, made)
    found = {name: _learn_one(getattr(p.onsets, name), name, read, weight) for name in NAMES}
    return replace(p, onsets=Onsets(**found))


def _learn_one(p: OnsetParameters, name: str, read: Readings, weight: np.ndarray) -> OnsetParameters:
    channel = read.shown[name]
    if np.isnan(channel.y).all():  # a pump's first reading of it tells its level, and nothing else
        return replace(p, level_var=OPEN_LEVEL_VAR)
    k = len(p.level)
    p = replace(
        p,
        level=first_levels(channel.y, read.pump, read.code, k, 0.0),
        type_noise=type_noise(channel.y, read.pump, read.code, k),
    )
    prior = ONSET_PRIOR[name]
    values = {key: usual for key, (usual, _) in prior.items()}
    for rounds in (10, 5):

        def likelihood(v: Columns, p: OnsetParameters = p) -> np.ndarray:
            told = filter_one(_with(p, name, v), read.tracks, read.x_km, channel, read.code)
            return told.log_likelihood @ weight

        values = maximise(likelihood, prior, values, rounds)
        p = _with_levels(_with(p, name, values), channel, read)
    return p


def _with(p: OnsetParameters, name: str, v: Mapping[str, Any]) -> OnsetParameters:
    own = {key: value for key, value in v.items() if not key.endswith("_km") or key == "scale_km"}
    more = {"bad": np.minimum(v["bad"], MOST_BAD), "jump_sd": JUMP_SPREAD * v["jump"]}
    more["aside_sd"] = np.minimum(v["aside_sd"], MOST_ASIDE.get(name, np.inf))
    more |= {f"{of}_per_km": 1 / v[f"{of}_km"] for of in ("aside", "at_once") if f"{of}_km" in v}
    return replace(p, **(own | more))


def _with_levels(p: OnsetParameters, channel: Shown, read: Readings) -> OnsetParameters:
    """Move each type's level to its pumps' own where nothing has started, if three or more tell."""
    state = filter_one(p, read.tracks, read.x_km, channel, read.code).state
    own = np.where((read.counts(channel.y) > 0) & (state.started < 0.5), state.b, np.nan)
    level = p.level.copy()
    for t in range(len(level)):
        mine = own[(read.code == t) & ~np.isnan(own)]
        if len(mine) >= 3:
            level[t] = np.median(mine)
    return replace(p, level=mean_for_others(level))


def type_noise(y: np.ndarray, pump: np.ndarray, code: np.ndarray, types: int) -> np.ndarray:
    """Return each type's variance of reading over the fleet's, drawn to 1, from steps within pumps."""
    ok = np.flatnonzero(~np.isnan(y))
    same = pump[ok][1:] == pump[ok][:-1]
    step, of = np.abs(np.diff(y[ok]))[same], code[pump[ok][1:]][same]
    out = np.ones(types)
    if len(step) < 8:
        return out
    usual = np.median(step)
    for t in range(types):
        mine = step[of == t]
        if len(mine) >= 3:
            own = 2 * np.log(np.maximum(np.median(mine), 1e-9) / max(usual, 1e-9))
            out[t] = np.exp(own * len(mine) / (len(mine) + NOISE_READINGS))
    return np.clip(out, 1 / MOST_NOISE, MOST_NOISE)


def learn_onset_failures(p: Parameters, gaps: Gaps, weight: np.ndarray, failures: float) -> Parameters:
    """Learn for each damage where it ends a pump and how often it starts unseen, the others standing;
    failures: on record in the fleet."""
    for name in (name for name in NAMES if getattr(p.onsets, name).counts):
        others = other_hazards(p, gaps, name)

        own: OnsetParameters = getattr(p.onsets, name)

        def likelihood(
            v: Columns, own: OnsetParameters = own, name: str = name, others: Others = others
        ) -> np.ndarray:
            return with_others_likelihood(_ends(own, v), name, others, gaps, weight)

        prior = FAILS_PRIOR[name]
        start = {key: usual for key, (usual, _) in prior.items()}
        values = maximise(likelihood, prior, start, 10, farthest(prior, failures))
        p = replace(p, onsets=replace(p.onsets, **{name: _ends(own, values)}))
    return p


def refine_onsets(p: Parameters, sample: History, made: Channels, weight: np.ndarray) -> Parameters:
    """Learn when each starts again, from readings and from what came after each pump's last one.

    As for drag, fast ones leave few readings. Growth stays: the ends alone would make it a sudden failure.
    """
    read = Readings(p, sample, made)
    ends = last_gaps(sample, read.with_drag(p.drag), read.begun, read.code)
    for name in (name for name in NAMES if getattr(p.onsets, name).counts):
        others, channel = other_hazards(p, ends, name), read.shown[name]
        own: OnsetParameters = getattr(p.onsets, name)

        def likelihood(
            v: Columns, own: OnsetParameters = own, name: str = name, others: Others = others,
            channel: Shown = channel,
        ) -> np.ndarray:  # fmt: skip
            tried = replace(own, **v)  # type: ignore[arg-type]
            told = filter_one(tried, read.tracks, read.x_km, channel, read.code)
            known = ends.known._replace(begun=ends.known.begun._replace(**{name: told.state}))
            gaps = replace(ends, known=known)
            return told.log_likelihood @ weight + with_others_likelihood(tried, name, others, gaps, weight)

        prior = {key: ONSET_PRIOR[name][key] for key in ENDS_TELL}
        values = maximise(likelihood, prior, {key: getattr(own, key) for key in ENDS_TELL}, 8)
        p = replace(p, onsets=replace(p.onsets, **{name: replace(own, **values)}))  # type: ignore[arg-type]
    return p


def keep_what_tells(p: Parameters, gaps: Gaps, weight: np.ndarray, failures: float) -> Parameters:
    """Take brush and commutator damage as readings show them, as far as the trade knows them, or not at all.

    Readings alone can't tell slow wear from such damage, so failures decide, by the likelihood of all gaps:
    as readings show them where that is likelier than wear alone. Else they are as the trade knows them and
    count by the chance ODDS * L(trade)/(ODDS * L(trade) + L(wear alone)), none below LEAST_CHANCE, but never
    below `least_factor` of these failures: a fleet without failures so takes a jump seriously, and one with
    many decides for itself.
    """
    onsets = {name: getattr(p.onsets, name) for name in SHOW_AS_WEAR}

    def told(**of: OnsetParameters) -> tuple[Parameters, float]:
        tried = learn_failure(
            replace(p, onsets=replace(p.onsets, **of)), gaps, weight, failures=failures, by_type=False
        )
        return tried, float(gap_likelihood(tried, gaps, weight))

    seen, as_seen = told(**onsets)
    none, without = told(**{name: replace(of, factor=0 * of.factor) for name, of in onsets.items()})
    if as_seen > without:
        return seen
    of_trade = {name: _as_trade_knows(of, name) for name, of in onsets.items()}
    usual = replace(none, onsets=replace(none.onsets, **of_trade))
    chance = float(expit(np.log(ODDS) + float(gap_likelihood(usual, gaps, weight)) - without))
    chance = max(chance, least_factor(failures))
    if chance < LEAST_CHANCE:
        return none
    counted = {name: replace(of, factor=chance * of.factor) for name, of in of_trade.items()}
    return replace(none, onsets=replace(none.onsets, **counted))


def _as_trade_knows(p: OnsetParameters, name: str) -> OnsetParameters:
    """Return `p` with the priors of how often such damage starts, how it grows and where it ends a pump."""
    values = {key: ONSET_PRIOR[name][key][0] for key in TRADE_KNOWS}
    fails = {key: usual for key, (usual, _) in FAILS_PRIOR[name].items()}
    usual = replace(p, **values, jump_sd=JUMP_SPREAD * values["jump"])  # type: ignore[arg-type]
    return _ends(usual, fails)


def _ends(p: OnsetParameters, v: Mapping[str, Any]) -> OnsetParameters:
    """Return `p` with where it ends a pump and how often it starts."""
    starts = v["starts"] * np.ones(len(p.level))
    harmless = np.minimum(v["harmless"], MOST_HARMLESS)
    ends = {"fails_at": v["fails_at"], "fails_at_sd": v["spread"] * v["fails_at"]}
    return replace(p, starts=starts, harmless=harmless, **ends)
