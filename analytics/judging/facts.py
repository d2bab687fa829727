"""The yes-or-no facts that the trade rules are made of, worked out for every visit at once.

Current is compared with specification after correction to the specification's stated volts and pressure
(where both are recorded), with own baseline after correction to equal volts and pressure. Unknown is False.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
import pandas as pd

from analytics.judging.baseline import corrected, full_command, number, pump_volts, system_v, text
from analytics.judging.delivery import fuel_kind
from analytics.judging.explained import may_be_none
from ingest.accuracy import mean_accuracy_a
from ingest.capture import Note
from ingest.last_speed import speed_too_far
from ingest.sensitivities import log_volts_ratio
from ingest.settings_in_force import Settings, by_name
from ingest.trade_numbers import probe_factor_band

REJECTED = ("irregular", "too-slow", "foreign")  # why a turn found was none of the pump's
FAR_ABOVE_TURNING = 1.3  # times the top current at low volts: a pump that drags draws as much [P]
HARDLY_LOADED_PCT = 40.0  # of its own level lost: with more speed, a pump that moves hardly any fuel [P]
ONE_FAR_TIMES = 2.0  # times what counts as far, from one reading alone, which may be the odd one [P]
LEAST_LOADED_A = 1.0  # drops read on less current prove nothing [P]


def circuit_facts(visits: pd.DataFrame, settings: Settings) -> dict[str, np.ndarray]:
    """Volts and drops: `supply_*`, `drop_*`, `leads_swapped`; drops are judged per ampere.

    drop_*_usual_v: the most that is usual, at this current where it lies below the limit at any.
    """
    scale = system_v(visits) / 12.0
    prime = (text(visits, "state") == "prime").to_numpy()
    full = full_command(visits)
    volts = np.where(full, number(visits, "supply_v"), np.nan)
    at_pump = np.where(full, pump_volts(visits), np.nan)
    least = scale * np.where(prime, settings["low_supply_prime_v"], settings["low_supply_v"])
    most = scale * settings["high_supply_v"]
    sound = np.where(prime, least, scale * settings["sound_supply_v"])
    drops = {side: number(visits, f"drop_{side}_v") for side in ("supply", "ground")}
    mean_a = number(visits, "mean_a")
    loaded = ~(mean_a < LEAST_LOADED_A)
    share = np.maximum(mean_a, LEAST_LOADED_A) / _usual_a(visits)  # of the current that it should draw
    share = np.where(np.isnan(share), 1.0, share)
    high, most_lost = {}, {}
    for side, drop in drops.items():
        limit = float(by_name(settings, f"drop_{side}_limit_v"))
        per_ampere = drop / share
        most_lost[side] = np.where(drop > limit, limit, limit * share)
        # Much resistance on little current counts as well, beyond what a voltmeter's last digit makes.
        high[side] = loaded & (
            ((drop > limit) & (per_ampere > limit)) | ((per_ampere > 1.5 * limit) & (drop > 0.6 * limit))
        )
    swapped = np.logical_or.reduce([drop < -settings["reversed_drop_v"] for drop in drops.values()])
    measured = np.logical_and.reduce([~np.isnan(drop) for drop in drops.values()])
    running = text(visits, "state").isin(["idle", "loaded"]).to_numpy()
    at_battery = np.where(text(visits, "supply_v_at") == "battery", volts, at_pump + sum(drops.values()))
    return {
        "supply_low": volts < least,
        "supply_fell": running
        & (at_pump < number(visits, "volts_before") - scale * settings["supply_fell_v"]),
        "fell_v": number(visits, "volts_before") - at_pump,
        "at_pump_v": at_pump,
        # Nobody said whether the engine ran, and on a prime these volts are enough.
        "maybe_primed": (text(visits, "state") == "").to_numpy()
        & (volts >= scale * settings["low_supply_prime_v"]),
        "supply_over": volts > most,
        "supply_good": (at_pump >= least) & (at_pump <= most),
        "supply_sound": (at_pump >= sound) & (at_pump <= most),
        "drop_supply_usual_v": most_lost["supply"],
        "drop_ground_usual_v": most_lost["ground"],
        "drop_supply_high": high["supply"],
        "drop_ground_high": high["ground"],
        "drop_high": high["supply"] | high["ground"],
        "drops_passed": measured & loaded & ~high["supply"] & ~high["ground"] & ~swapped,
        "leads_swapped": swapped,
        "drops_impossible": sum(np.nan_to_num(drop) for drop in drops.values()) + at_pump > 1.05 * most,
        "primed": prime,
        "running": running,
        # What reaches the pump and what is lost on the way is what the battery has; both drops told.
        "battery_v": at_battery,
        "charging_low": running & (at_battery < scale * settings["charging_v"]),
    }


def _usual_a(visits: pd.DataFrame) -> np.ndarray:
    """The current that a pump should draw, A: its own level, else the middle of its specification."""
    own = np.exp(number(visits, "baseline_ln_a"))
    middle = (number(visits, "current_low_a") + number(visits, "current_high_a")) / 2
    return np.where(np.isnan(own), middle, own)


def current_facts(visits: pd.DataFrame, settings: Settings) -> dict[str, np.ndarray]:
    """The average against its specification, its type and the usual, and whether it can be judged at all."""
    mean_a = number(visits, "mean_a")
    full = full_command(visits)
    supply, origin = text(visits, "supply", "direct"), text(visits, "origin", "capture")
    brushed = (text(visits, "motor", "brushed") != "brushless").to_numpy()
    low_a, high_a = number(visits, "current_low_a"), number(visits, "current_high_a")
    at_spec_a = np.exp(
        corrected(visits, number(visits, "spec_at_v"), number(visits, "spec_at_kpa"), settings)[0]
    )
    at_spec_a = np.where(np.isnan(mean_a), np.nan, at_spec_a)
    zeroed = ~np.isnan(number(visits, "zero_a")) | (origin == "meter").to_numpy()
    zeroed |= (text(visits, "zero_checked") == "yes").to_numpy()
    unzeroed_a = clamp_accuracy_a(visits, mean_a, settings, unzeroed=True)
    edge_a = settings["near_limit_share"] * (high_a - low_a)
    accuracy_a = clamp_accuracy_a(visits, at_spec_a, settings)
    type_a = np.where(
        number(visits, "type_pumps") >= settings["type_pumps"], number(visits, "type_a"), np.nan
    )
    no_spec = np.isnan(low_a) & np.isnan(high_a)
    own_a = np.exp(number(visits, "baseline_ln_a"))
    usual_a = _usual_a(visits)
    ratio = np.maximum(mean_a / usual_a, usual_a / np.maximum(mean_a, 1e-6))
    least_times, most_times = probe_factor_band(settings)
    dead = mean_a < settings["dead_a"]
    top_a = np.where(np.isnan(high_a), own_a, high_a)
    stall_a, far_a = _stall_limits_a(visits, top_a, own_a, settings)
    ripple = np.where(
        np.isnan(number(visits, "ripple_pct")),
        number(visits, "raw_ripple_pct"),
        number(visits, "ripple_pct"),
    )
    smooth = (ripple < settings["no_ripple_pct"]) | _noted(visits, "current-flat")
    untold = np.isnan(number(visits, "rpm"))
    smooth &= untold
    seen_none = np.isnan(ripple) & untold
    slow_rate = number(visits, "sample_rate_hz") < 8000.0  # eight samples a ripple of a fast pump
    direct = (supply == "direct").to_numpy()
    unlike_pct = abs(mean_a / type_a - 1) * 100
    no_ripple = smooth & brushed & direct & ~slow_rate & (origin != "meter").to_numpy()
    beyond = np.where(no_spec, np.nan, at_spec_a)
    outside = (beyond < low_a) | (beyond > high_a)
    undecided = (beyond >= low_a - accuracy_a) | np.isnan(low_a)
    undecided &= (beyond <= high_a + accuracy_a) | np.isnan(high_a)
    # Of too few samples the speed is lost without the pump's doing.
    followed_not = _noted(visits, "speed-not-followed") & ~_noted(visits, "sampled-too-slowly")
    two_speed_untold = ((supply == "two-speed") & (text(visits, "commanded") == "")).to_numpy()
    seems_low = (mean_a < low_a + edge_a) | (number(visits, "current_change_pct") < -5)
    seems_low |= number(visits, "speed_change_pct") < -10
    if two_speed_untold.any():  # its own readings at full speed are held beside it, whichever this one is
        seems_low |= _below_full_speed(visits)
    seems_low |= number(visits, "supply_v") < system_v(visits) / 12 * settings["low_supply_v"]
    return {
        "no_current_reading": np.isnan(mean_a),
        "dead": dead,
        "factor_off": ~dead & (ratio >= least_times) & (ratio <= most_times),
        "clipped": _noted(visits, "clipped"),
        "stall_current": full & (mean_a > stall_a),
        "far_above": full & ((mean_a > far_a) | (no_ripple & (mean_a > FAR_ABOVE_TURNING * top_a))),
        "no_ripple": no_ripple,
        "no_commutation": no_ripple & ~dead & _noted(visits, "current-flat"),
        "ripple_unseen": smooth | seen_none,
        "current_very_low": full & (at_spec_a < settings["very_low_share"] * low_a),
        "current_below": full & (at_spec_a < low_a - accuracy_a),
        "current_above": full & (at_spec_a > high_a + accuracy_a),
        "current_undecided": full & outside & undecided,
        "current_lowish": full & undecided & (at_spec_a < low_a + edge_a),
        "current_near_low": full & (at_spec_a >= low_a) & (at_spec_a < low_a + edge_a),
        "current_near_high": full & (at_spec_a <= high_a) & (at_spec_a > high_a - edge_a),
        "current_unlike_type": full & no_spec & (unlike_pct > settings["type_far_pct"]),
        "type_level_known": ~np.isnan(type_a),
        "odd_high": full & no_spec & np.isnan(own_a) & np.isnan(type_a) & (mean_a > settings["usual_high_a"]),
        "odd_low": full & no_spec & np.isnan(own_a) & np.isnan(type_a) & (mean_a < settings["usual_low_a"]),
        "no_specification": no_spec & ~np.isnan(mean_a),
        "switched": _noted(visits, "pwm-found") & brushed & (supply != "pwm").to_numpy() & untold,
        "segments_contradicted": _noted(visits, "segments-contradicted") & brushed & untold,
        "speed_unlike_last": _speed_too_far(visits) & brushed & untold,
        "frozen": ~dead & (number(visits, "raw_ripple_pct") == 0) & (origin == "capture").to_numpy(),
        "duty_unknown": (supply == "pwm").to_numpy() & np.isnan(number(visits, "duty_pct")) & ~dead,
        "maybe_none": ~dead & ~zeroed & may_be_none(mean_a, unzeroed_a),
        "speed_command_unknown": two_speed_untold & seems_low,
        "reduced_command": ~full & ~np.isnan(mean_a),
        "zeroed": zeroed,
        "after_repair": (text(visits, "reason") == "after-repair").to_numpy(),
        # A pulsed supply chops the current by itself.
        "irregular": (followed_not | _unsteady(visits, settings))
        & (supply != "pwm").to_numpy(),
        "at_spec_a": at_spec_a,
        "book_accuracy_a": accuracy_a,
    }  # fmt: skip


def _stall_limits_a(
    visits: pd.DataFrame, top_a: np.ndarray, own_a: np.ndarray, settings: Settings
) -> tuple[np.ndarray, np.ndarray]:
    """The current above which a pump without ripple does not turn, and one of unseen ripple may not; A (n,).

    A pump that stands draws V / R at whatever volts reach it, so the limit falls with them. It falls no
    further than to what the pump draws turning, which hardly falls. top_a: its specification's high end, else
    own_a: its own level; NaN where unknown.
    """
    high_a = number(visits, "current_high_a")
    usual_v = float(settings["reference_supply_v"]) * system_v(visits) / 12.0
    stated_v = np.where(np.isnan(high_a), np.nan, number(visits, "spec_at_v"))
    at_v = np.where(np.isnan(stated_v), usual_v, stated_v)
    times = settings["stall_times"] * np.minimum(np.exp(log_volts_ratio(pump_volts(visits), at_v)), 1.0)
    turning_a = np.where(np.isnan(own_a), top_a, np.minimum(own_a, top_a))
    return np.maximum(times * top_a, turning_a), np.maximum(times, FAR_ABOVE_TURNING) * top_a


def _below_full_speed(visits: pd.DataFrame) -> np.ndarray:
    """Whether average or speed lies well below the pump's last reading told to be at full speed (n,)."""
    high = (text(visits, "commanded") == "high").to_numpy()
    pump = visits["pump_id"].to_numpy()
    below = np.zeros(len(visits), bool)
    for column, share in (("mean_a", 0.95), ("rpm", 0.9)):
        now = number(visits, column)
        below |= now < share * pd.Series(np.where(high, now, np.nan)).groupby(pump).ffill().to_numpy()
    return below


def _noted(visits: pd.DataFrame, code: str) -> np.ndarray:
    """Whether the reading carries a quality note of this code; notes are JSON text or Note objects."""
    return _notes_that(
        visits, lambda text: f'"code": "{code}"' in text, lambda notes: any(n.code == code for n in notes)
    )


def _ripple_rejected(visits: pd.DataFrame) -> np.ndarray:
    """Whether the turn found was rejected, so that what varies is not the pump's ripple alone (n,)."""
    return _notes_that(
        visits,
        lambda text: (
            '"code": "ripple-untold"' in text and any(f'"variant": "{why}"' in text for why in REJECTED)
        ),
        lambda notes: any(
            n.code == "ripple-untold" and (n.values or {}).get("variant") in REJECTED for n in notes
        ),
    )


def _speed_too_far(visits: pd.DataFrame) -> np.ndarray:
    """Whether the likeliest speed was not told because it is too far from the last visit's (n,)."""
    return _notes_that(
        visits,
        lambda text: '"code": "speed-undecided"' in text and '"variant": "far"' in text,
        lambda notes: any(speed_too_far([note]) is not None for note in notes),
    )


def _notes_that(
    visits: pd.DataFrame, in_text: Callable[[str], bool], among: Callable[[Sequence[Note]], bool]
) -> np.ndarray:
    notes = visits.get("reading_notes", visits.get("notes"))
    if notes is None:
        return np.zeros(len(visits), bool)

    def has(value: Any) -> bool:
        if isinstance(value, str):
            return in_text(value)
        return isinstance(value, tuple | list) and among(value)

    if notes.dtype != object or not any(isinstance(value, tuple | list) for value in notes):
        codes, texts = pd.factorize(notes)  # from the ledger: the same notes stand on many readings
        return np.array([*map(has, texts), False], bool)[codes]
    return np.array([has(value) for value in notes], bool)


def _unsteady(visits: pd.DataFrame, settings: Settings) -> np.ndarray:
    sparks = number(visits, "sparks_per_s") > 10 * settings["few_sparks_per_s"]
    # Of brushes at fault the speed may be told by the ripple alone, too drowned to be read itself.
    untold = np.isnan(number(visits, "rpm")) | np.isnan(number(visits, "ripple_pct"))
    untold &= ~np.isnan(number(visits, "sparks_per_s"))
    return (number(visits, "speed_steadiness_pct") > settings["unsteady_pct"]) | (sparks & untold)


def clamp_accuracy_a(
    visits: pd.DataFrame, mean_a: np.ndarray, settings: Settings, *, unzeroed: bool = False
) -> np.ndarray:
    """How far each mean may be off by its clamp, named in the setting `clamps` or not, its zero and its
    error; A. unzeroed: as if nobody had checked the zero.

    The book decides nothing within it of its limits.
    """
    known = settings["clamps"]
    code, names = pd.factorize(visits["clamp"]) if "clamp" in visits else (np.full(len(visits), -1), ())

    def of(key: str, default: str) -> np.ndarray:
        usual = float(by_name(settings, default))
        own = [known[name].get(key, usual) if name in known else usual for name in names]
        return np.array([*own, usual], float)[code]  # the last of them: of no clamp

    se_a = number(visits, "mean_a_se", 0.0)
    unchecked = (text(visits, "zero_checked") == "no").to_numpy() & np.isnan(number(visits, "zero_a"))
    made = mean_accuracy_a(mean_a, se_a, of("pct", "clamp_accuracy_pct"), of("a", "clamp_accuracy_a"))
    return made + np.where(unchecked | unzeroed, settings["zero_unverified_a"], 0.0)


def motion_facts(visits: pd.DataFrame, settings: Settings) -> dict[str, np.ndarray]:
    """Changes from own baseline, speed and ripple, each by the level that is known best."""
    brushed = (text(visits, "motor", "brushed") != "brushless").to_numpy()
    full = full_command(visits)
    rpm = number(visits, "rpm")
    d_current, d_speed = number(visits, "current_change_pct"), number(visits, "speed_change_pct")
    some, far = settings["baseline_change_pct"], settings["baseline_far_pct"]
    some_speed = settings["baseline_speed_pct"]
    type_low, type_high = number(visits, "rpm_low"), number(visits, "rpm_high")
    own_speed = ~np.isnan(d_speed)
    unbanded = np.isnan(type_low) & np.isnan(type_high)
    lift = number(visits, "rated_pressure_kpa") < settings["lift_pump_kpa"]
    lift |= np.isin(fuel_kind(visits), ["diesel", "gas"])
    usual_low, usual_high = rpm < settings["rpm_low"], rpm > settings["rpm_high"]
    few_sparks = number(visits, "sparks_per_s") < settings["few_sparks_per_s"]
    # Without a turn to average over, the plain figure serves only where neither sparks enlarge it nor what
    # made the turn be rejected.
    serves = few_sparks & ~_ripple_rejected(visits)
    plain = np.where(serves, number(visits, "raw_ripple_pct"), np.nan)
    ripple = np.where(np.isnan(number(visits, "ripple_pct")), plain, number(visits, "ripple_pct"))
    ripple = ripple * _share_of_usual(visits, settings)
    own_ripple = np.where(
        number(visits, "baseline_ripple_count", 0) >= 2, 1.25 * number(visits, "baseline_ripple_pct"), np.nan
    )
    own_ripple = np.fmax(own_ripple, 1.25 * number(visits, "other_state_ripple_pct"))
    limit = np.fmax(float(settings["ripple_limit_pct"]), own_ripple)
    limit = np.where(np.isnan(number(visits, "ripple_limit_pct")), limit, number(visits, "ripple_limit_pct"))
    # Where several turns fit, the ripple may be an engine's, another load's or a drive's.
    unsure = _noted(visits, "speed-undecided") | np.isnan(number(visits, "ripple_pct"))
    with np.errstate(over="ignore"):
        other_pct = 100 * np.expm1(number(visits, "ln_a") - number(visits, "other_state_ln_a"))
        one_pct = 100 * np.expm1(number(visits, "ln_a") - number(visits, "baseline_ln_a"))
    one_pct = np.where(number(visits, "baseline_count", 0) == 1, one_pct, np.nan)
    many_times = brushed & full & (ripple > settings["ripple_far_times"] * limit)
    jumped = brushed & ripple_jumped(visits, settings)
    speed_rose = brushed & (d_speed > some_speed)
    fast = np.where(np.isnan(type_high), settings["new_pump_fast_rpm"], type_high)
    fast = ~own_speed & brushed & (rpm > fast) & ~(np.isnan(type_high) & lift)
    return {
        "state_untold_far": full & (abs(other_pct) > far),
        "other_state_pct": other_pct,
        "unlike_the_one_before": abs(one_pct) > ONE_FAR_TIMES * far,
        "one_before_pct": one_pct,
        "current_fell": d_current < -some,
        "current_fell_far": d_current < -far,
        "current_halved": full & (d_current < -HARDLY_LOADED_PCT),
        "current_rose": d_current > some,
        "current_rose_far": d_current > far,
        "speed_fell": brushed & (d_speed < -some_speed),
        "speed_fell_far": brushed & (d_speed < -far),
        "speed_rose": speed_rose,
        "turns_fast": speed_rose | fast,
        "speed_same": brushed & (abs(d_speed) <= some_speed),
        # A load moves the speed about a third as far as the current: by less than half of that, it is none.
        "motor_unmoved": brushed
        & (abs(d_speed) <= np.minimum(some_speed, abs(d_current) / 6))
        & (abs(d_current) > far),
        "speed_low": brushed & full & (rpm < type_low) & ~own_speed,
        "speed_low_usual": brushed & full & usual_low & unbanded & ~lift & ~own_speed,
        "speed_high": brushed & ~own_speed & ((rpm > type_high) | (usual_high & np.isnan(type_high) & ~lift)),
        "speed_band_unset": brushed & full & unbanded & ~own_speed & (usual_low | usual_high),
        "new_and_fast": brushed & (rpm > settings["new_pump_fast_rpm"]),
        "ripple_over": brushed & full & (ripple > limit),
        "ripple_far_over": many_times & ~unsure,
        "ripple_jumped": jumped & ~unsure,
        "ripple_unsure": (many_times | jumped) & unsure,
        "ripple_used_pct": ripple,
        "ripple_limit_used_pct": limit,
        "rpm_low_used": np.where(np.isnan(type_low), settings["rpm_low"], type_low),
        "rpm_high_used": np.where(np.isnan(type_high), settings["rpm_high"], type_high),
    }


def _share_of_usual(visits: pd.DataFrame, settings: Settings) -> np.ndarray:
    """The average as a share of what the pump should draw at least, 1 at most (n,).

    Ripple hardly follows the load: a pump that runs dry shows the same amps of it on a small average, so
    ripple is told as a share of no less than its own level, but for a small change, or the specification's
    low end.
    """
    own_a = np.exp(number(visits, "baseline_ln_a")) * (1 - settings["baseline_far_pct"] / 100)
    least_a = np.where(np.isnan(own_a), number(visits, "current_low_a"), own_a)
    with np.errstate(invalid="ignore"):
        share = np.minimum(number(visits, "mean_a") / least_a, 1.0)
    return np.where(full_command(visits) & (share > 0), share, 1.0)


def ripple_jumped(visits: pd.DataFrame, settings: Settings) -> np.ndarray:
    """Whether ripple stepped up at one visit and has stayed up since (n,): slow growth is no step.

    In percent of the usual average and in amps, as a starved pump's smaller average alone enlarges the
    percentage. Ripple follows volts and engine state little: without a level of its own in its engine state
    a reading is held against that in another, by twice as much.
    Visits in order of pump and time; `compares_with` and `measured_with` from baseline.add_levels.
    """
    points = float(settings["ripple_jump_points"])
    of_usual = number(visits, "ripple_pct") * _share_of_usual(visits, settings)
    ripple = pd.Series(of_usual, index=visits.index)
    amps = pd.Series(number(visits, "ripple_pct") * number(visits, "mean_a") / 100, index=visits.index)
    known = number(visits, "baseline_ripple_count", 0) >= 2
    first = number(visits, "baseline_ripple_pct")
    alike = _stepped_up(ripple, amps, first, visits["compares_with"].to_numpy(), points, points) & known
    full, anyhow = full_command(visits), visits["measured_with"].to_numpy()
    first = pd.Series(np.where(known & full, first, np.nan), visits.index).groupby(anyhow).ffill().to_numpy()
    return alike | _stepped_up(ripple.where(full), amps, first, anyhow, points, 2 * points) & ~known


def _stepped_up(
    ripple: pd.Series, amps: pd.Series, first: np.ndarray, group: np.ndarray, points: float, over_first: float
) -> np.ndarray:
    """Whether ripple stepped up from the reading before of its group by so many points, and over the first
    level by `over_first`, and has stayed up (n,)."""
    told = ripple.where(ripple.notna() & amps.notna())
    last, last_amps = told.groupby(group).ffill(), amps.groupby(group).ffill()
    before, before_amps = last.groupby(group).shift(), last_amps.groupby(group).shift()
    steps = (told - before >= points).to_numpy() & (amps >= 1.5 * before_amps).to_numpy()
    steps &= (told - first >= over_first).to_numpy()
    level = before.where(steps).groupby(group).ffill()
    return (told - level >= points).to_numpy()
