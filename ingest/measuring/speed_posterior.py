"""How probable is each shaft speed, given which orders carry lines?

A hypothesis says: the followed line is order m of the shaft, and the commutator has N bars. Every order is
then a slot in the order spectrum, of a class that physics tells apart:

    ripple  multiples of lcm(2, N): present on every motor (lcm(poles, N) where each brush commutates alone)
    even    other even orders: differences between bars and coils, which meet a brush twice a turn
    odd     odd orders: only what tells one half turn from the other, much weaker
    once    order 1: also the load on the shaft
    twice   order 2: mostly brushes and poles, stronger than the other even ones
    brush   odd multiples of N, N odd: the two brushes differ; of more than two, all multiples but the ripple
    alias   orders folded down by too slow sampling, fixed by the sampling rate and the speed assumed

Slot power over local noise, x, is exponential with mean 1 without a line and 1 + s with one. s is log-normal
about its class's level; each class's level is unknown and averaged over. A line outside every slot is
possible (a stray one) at a price. Sums of logs over slots give the likelihood of (m, N).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from ingest.known_pump import KnownPump
from ingest.measuring.line_spectrum import DYNAMIC_RANGE, LineSpectrum, line_spectrum
from ingest.measuring.order_tracking import AngleTrace

# Prior odds of bar counts of two-pole motors: 8 likeliest, 5 to 16 usual, more possible [P].
BAR_ODDS = {
    3: 0.002, 4: 0.006, 5: 0.04, 6: 0.09, 7: 0.08, 8: 0.40, 9: 0.05, 10: 0.12, 11: 0.03, 12: 0.09,
    13: 0.015, 14: 0.02, 15: 0.01, 16: 0.03, 18: 0.005, 20: 0.006, 22: 0.003, 24: 0.006, 28: 0.002,
    32: 0.002, 36: 0.004, 40: 0.001,
}  # fmt: skip
FALLS = (1.5, 3.0, 4.5)  # the power of bar differences falls as order to one of these powers, unknown which
RIPPLE_FALLS = (0.0, 3.0, 6.0)  # and that of the ripple's harmonics
ODD_SLOT = 0.03  # share of slots that don't follow their class: bounds what one slot may say against it
FEWEST_TURNS = 2.0  # fewer show no repeat, and every line falls on an order
ALIAS_TURNS, ALIAS_BELOW_HZ, MOST_ALIAS = 15, 30_000.0, 6.0
STRAY_STRONG, STRAY_WEAK = 2e-3, 0.3  # share of slots with a line that is no shaft order, by its power:
STRAY_DECADES = (-1.0, -4.5)  # relative to the strongest line
# Power of the ripple's fundamental over its second harmonic, of odd and of even bars: at the first or more it
# says nothing, at the second or less LACKS_FUNDAMENTAL of log odds against (seen on simulated motors).
FUNDAMENTAL_OVER_SECOND = (1.5, 0.7), (0.05, 0.008)
LACKS_FUNDAMENTAL, BEYOND_NEVER = (7.0, 5.0), 2.0  # of odd bars up to so many times as much
# The stronger of the first two over the strongest of the next, up to this harmonic: likewise.
FIRST_TWO_OVER_REST, LACKS_FIRST_TWO, HARMONICS = (1.0, 0.1), 6.0, 5
OUT_OF_BAND = np.log(100.0)  # a speed outside the type's band is this much less likely beforehand
SLOWEST_RPM, FASTEST_RPM = 1500.0, 16_000.0  # pumps run between; a speed outside is hardly believed
BEYOND = 15.0  # log odds against it
PREVIOUS_SD = 0.12  # of ln rpm about the last visit's
SPEED_CHANGED = 0.01  # chance that the last visit's speed says nothing about today's
# Prior that the strongest line is that of brushes not alike: of two; of more, each commutating by itself.
UNLIKE_BRUSHES = 0.03, 0.3
LOWEST_RPM, HIGHEST_RPM = 1000.0, 27_000.0
LOWEST_HZ = 30.0  # below it lies what is left of slow drift
LEVEL_STEP = 0.5 * np.log(10)
LEVELS = np.arange(-14, 2) * LEVEL_STEP  # of a class, log power relative to the strongest line
PER_LEVEL = 4
S_STEP = LEVEL_STEP / PER_LEVEL
LOG_S = LEVELS[0] + np.arange(36 * PER_LEVEL) * S_STEP  # a line's log power over the noise floor
X_STEP = 0.1
LOG_X = np.arange(-9.0, 23.0, X_STEP)
PADDED = PER_LEVEL * len(LEVELS)
SPREAD = {"ripple": 0.7, "bar": 0.9}  # decades
MOST_SLOTS = 6000  # worked on at once
MOST_MULTIPLIED = 64


@dataclass(frozen=True)
class Hypotheses:
    """Orders of the followed line, bars, turns a second, unnormalised log posterior weights; all (h,).

    log_sharpness: log density of the whole spectrum if no line were the shaft's. Weights of traces by
    different angles compare only where it is about the same: the better an angle fits, the higher it is.
    """

    line_order: np.ndarray
    bars: np.ndarray
    turn_hz: np.ndarray
    log_weight: np.ndarray
    log_sharpness: float
    spectrum: LineSpectrum


def slot_ratios(
    x: np.ndarray, floor: np.ndarray, kind: str, below_level: np.ndarray | float = 0.0
) -> np.ndarray:
    """Likelihood ratio line : no line for each slot and level of the class `kind`; shape (..., K, J).

    below_level: log power by which a slot's expected line lies below its class's level, (..., K).
    """
    row = ((np.log(np.maximum(x, 1e-4)) - LOG_X[0]) / X_STEP + 0.5).astype(int) % len(LOG_X)
    column = ((-np.log(floor) - below_level) / S_STEP + 0.5).astype(int)
    table = LINE_DENSITIES[kind]
    first = np.minimum(row, len(LOG_X) - 1) * table.shape[1] + np.clip(column, -PADDED, len(LOG_S) - 1)
    ratios = table.ravel().take(first[..., None] + (PADDED + PER_LEVEL * np.arange(len(LEVELS))))
    ratios *= ((1 - ODD_SLOT) / no_line_density(x, floor))[:, None]
    # At worst a slot does not follow its class: then it says nothing, at the price of ODD_SLOT.
    ratios += ODD_SLOT
    return ratios


def no_line_density(x: np.ndarray, floor: np.ndarray) -> np.ndarray:
    """Density of x in a slot without a shaft order: noise, or a stray line, rare if strong; (k,)."""
    strong, weak = STRAY_DECADES
    weakness = np.clip((strong - np.log10(np.maximum(x * floor, 1e-12))) / (strong - weak), 0, 1)
    share = STRAY_STRONG * (STRAY_WEAK / STRAY_STRONG) ** weakness
    stray = np.where(x > 4, share / (np.maximum(x, 4) * 17.0), 1e-300)
    return np.exp(-np.minimum(x, 600)) + stray


def _line_density(spread: float) -> np.ndarray:
    """p(x | line of level s) over LOG_X x LOG_S, lines `spread` decades about the level.

    The ends of LOG_S are repeated for PADDED steps either side.
    """
    nodes, weights = np.polynomial.hermite_e.hermegauss(15)
    x = np.exp(LOG_X)
    mean = 1 + np.exp(LOG_S[:, None] + spread * np.log(10) * nodes)
    density = logsumexp(-x[:, None, None] / mean - np.log(mean) + np.log(weights / weights.sum()), axis=2)
    return np.pad(np.exp(density), ((0, 0), (PADDED, PADDED)), mode="edge")


def speed_log_prior(rpm: np.ndarray, band_rpm: tuple[float, float], expected_rpm: float | None) -> np.ndarray:
    """Log prior density over ln rpm, unnormalised: 100 : 1 for the band; wide about a last visit."""
    outside = np.maximum(np.log(band_rpm[0] / rpm), np.log(rpm / band_rpm[1]))
    base = -OUT_OF_BAND * np.clip(outside / 0.04, 0, 1)
    base = base - 3.0 * np.clip((outside - 0.45) / 0.2, 0, 2)
    base = base - BEYOND * ((rpm < SLOWEST_RPM) | (rpm > FASTEST_RPM))
    if expected_rpm is None:
        return base
    near = -0.5 * (np.log(rpm / expected_rpm) / PREVIOUS_SD) ** 2 - np.log(PREVIOUS_SD * np.sqrt(2 * np.pi))
    return np.logaddexp(near + np.log1p(-SPEED_CHANGED), base + np.log(SPEED_CHANGED))


def weigh(
    trace: AngleTrace,
    highest_hz: float,
    *,
    sampled_hz: float,
    known: KnownPump,
    poles: int = 2,
    bar_odds: Mapping[int, float] | None = None,
    between_rpm: tuple[float, float] = (LOWEST_RPM, HIGHEST_RPM),
) -> Hypotheses:
    """Log posterior weight of every (m, N) the followed line allows.

    poles: more than two where each brush commutates by itself. bar_odds: of the bar counts looked at; None:
    of the one told, else of all. between_rpm: speeds looked at.
    """
    line = trace.line_hz
    bar_odds = bar_odds or ({known.segments: 1.0} if known.segments else BAR_ODDS)
    bars = np.array(list(bar_odds))
    log_odds = np.log(np.array(list(bar_odds.values())) / sum(bar_odds.values()))
    slowest_rpm, fastest_rpm = between_rpm
    first = max(int(np.ceil(line * 60 / fastest_rpm)), 1)
    last = min(int(line * 60 / slowest_rpm), 160)
    orders = np.arange(first, last + 1)
    prior = speed_log_prior(line / orders * 60, known.band_rpm, known.expected_rpm)
    scores = np.full((len(orders), len(bars)), -np.inf)
    spectrum = line_spectrum(trace, sampled_hz, highest_hz)
    turns_enough = orders[trace.cycles >= FEWEST_TURNS * orders]
    slots = np.cumsum(highest_hz / line * turns_enough)
    for part in np.split(turns_enough, np.flatnonzero(np.diff(slots // MOST_SLOTS)) + 1):
        if len(part):
            scores[part - first] = _bar_scores(
                spectrum,
                part,
                highest_hz / line,
                sampled_hz / line,
                bars,
                poles=poles,
                slow_sampling=sampled_hz < ALIAS_BELOW_HZ,
            )
    scores += prior[:, None] + log_odds
    at_m, at_bars = np.nonzero(np.isfinite(scores))
    sharpness = _log_sharpness(spectrum, line, highest_hz)
    return Hypotheses(
        orders[at_m], bars[at_bars], line / orders[at_m], scores[at_m, at_bars], sharpness, spectrum
    )


def _log_sharpness(spectrum: LineSpectrum, line_hz: float, highest_hz: float) -> float:
    """Log density of the spectrum as noise and stray lines; half-bins hold every sample twice."""
    hz = np.arange(len(spectrum.power)) * line_hz / (2 * spectrum.cycles)
    within = (hz > LOWEST_HZ) & (hz < highest_hz)
    power, floor = spectrum.power[within], spectrum.floor[within]
    log_density = np.log(no_line_density(power / floor, floor / spectrum.strongest)) - np.log(
        floor / spectrum.power.sum()
    )
    return float(0.5 * np.sum(log_density))


def _bar_scores(
    spectrum: LineSpectrum,
    line_orders: np.ndarray,
    highest: float,
    sampled: float,
    bars: np.ndarray,
    *,
    poles: int,
    slow_sampling: bool,
) -> np.ndarray:
    """Log likelihood of each order of the followed line and bar count, (M, B); -inf: ripple out of sight.

    highest, sampled: highest frequency looked at and sampling rate, in multiples of the followed line.
    """
    counts = np.maximum((highest * line_orders).astype(int), max(4, poles))
    firsts = np.cumsum(counts) - counts
    which = np.repeat(np.arange(len(counts)), counts)
    k = np.arange(1, counts.sum() + 1) - firsts[which]
    x, floor = spectrum.at(k / line_orders[which])
    far = np.log(np.maximum(k, 2) / 2)
    # Even and odd orders differ in nothing but their levels: (F, K, J).
    silent = spectrum.silent(k / line_orders[which])
    bar = slot_ratios(x, floor, "bar", np.multiply.outer(FALLS, far))
    bar[:, silent] = 1.0
    humps = np.lcm(poles, bars)
    once, twice = (np.log(bar[0, firsts + i].mean(axis=1)) for i in (0, poles - 1))

    def log_sums(of: np.ndarray) -> np.ndarray:
        return _log_products(bar, np.flatnonzero(of), which[of], len(counts))

    even, odd = log_sums((k % poles == 0) & (k > poles)), log_sums((k % poles > 0) & (k > 1))  # (F, M, J)
    each, same = np.unique(humps, return_inverse=True)  # N odd and 2 N even make the same ripple
    at_ripple = k % each[:, None] == 0
    at_brush = (k % bars[:, None] == 0) & (k % poles > 0) & (k > 1)
    ripple, even_less = _ripple_sums(x, floor, silent, k, which, bar, at_ripple, each, len(counts))
    brush, odd_less = _ripple_sums(x, floor, silent, k, which, bar, at_brush, bars, len(counts))
    ripple, even_less = ripple[same], even_less[:, same]
    if poles == 2:  # what several brushes commutate in turn may leave next to no ripple of all of them
        ripple = ripple + RIPPLE_LEVEL_PRIOR
    score = _strongest_log_prior(spectrum.strongest_line * line_orders, humps, bars, poles)
    score = score + _fundamental_log_prior(spectrum, line_orders, humps, bars, counts)
    score = score + (once + twice)[:, None] - np.log(len(LEVELS))
    score = score + (_log_sum(ripple) + _log_sum(brush)).T
    if slow_sampling:
        score = score + _alias_scores(spectrum, line_orders, counts, sampled)[:, None]
    even_sum, odd_sum = even[:, None] - even_less, odd[:, None] - odd_less  # (F, B, M, J)
    even_top, odd_top = even_sum.max(axis=3), odd_sum.max(axis=3)
    both = np.exp(even_sum - even_top[..., None]) @ EVEN_AND_ODD * np.exp(odd_sum - odd_top[..., None])
    bars_sum = np.log(both.sum(axis=3) + 1e-300) + even_top + odd_top
    score = score + _log_sum(bars_sum.T) - np.log(len(FALLS))
    return np.where(humps <= counts[:, None], score, -np.inf)


def _log_products(values: np.ndarray, at: np.ndarray, group: np.ndarray, groups: int) -> np.ndarray:
    """Log of the product of slots `at` (p,) of values (F, K, J), by rising `group` (p,): (F, groups, J)."""
    out = np.zeros((len(values), groups, values.shape[2]))
    if not len(at):
        return out
    begins = np.flatnonzero(np.diff(group, prepend=-1))
    place = np.arange(len(at)) - np.repeat(begins, np.diff(np.append(begins, len(at))))
    # A ratio lies between ODD_SLOT and about 3,000, so the product of so many stays a number.
    parts = np.flatnonzero(place % MOST_MULTIPLIED == 0)
    logs = np.log(np.multiply.reduceat(values.take(at, axis=1), parts, axis=1))
    out[:, group[begins]] = np.add.reduceat(logs, np.searchsorted(parts, begins), axis=1)
    return out


def _ripple_sums(
    x: np.ndarray,
    floor: np.ndarray,
    silent: np.ndarray,
    k: np.ndarray,
    which: np.ndarray,
    bar: np.ndarray,
    at: np.ndarray,
    humps: np.ndarray,
    rows: int,
) -> tuple[np.ndarray, np.ndarray]:
    """Log likelihood ratios of each bar count's ripple slots: as ripple (B, M, J), as bars (F, B, M, J).

    at: which slots those are, (B, K); k, which: order of the slots and their row of `rows` (M); humps: order
    of the ripple, (B,).
    """
    bar_count, slot = np.nonzero(at)
    group = bar_count * rows + which[slot]
    shape, groups = (-1, len(humps), rows, len(LEVELS)), len(humps) * rows
    below = np.multiply.outer(RIPPLE_FALLS, np.log(k[slot] / humps[bar_count]))
    ratios = slot_ratios(x[slot], floor[slot], "ripple", below)
    ratios[:, silent[slot]] = 1.0
    sums = _log_products(ratios, np.arange(len(slot)), group, groups).reshape(shape)
    as_bars = _log_products(bar, slot, group, groups).reshape(shape)
    return np.logaddexp.reduce(sums, axis=0) - np.log(len(RIPPLE_FALLS)), as_bars


def _alias_scores(
    spectrum: LineSpectrum, line_orders: np.ndarray, counts: np.ndarray, sampled: float
) -> np.ndarray:
    """What orders folded down by slow sampling say for each order of the followed line, (M,)."""
    out = np.zeros(len(line_orders))
    for i, (m, count) in enumerate(zip(line_orders.tolist(), counts.tolist(), strict=True)):
        folded = _alias_orders(sampled * m, count, spectrum.cycles / m)
        if len(folded):
            alias = np.log(slot_ratios(*spectrum.at(folded / m, folded=True), "bar")).sum(axis=0)
            out[i] = np.clip(_log_sum(alias) - np.log(len(LEVELS)), 0.0, MOST_ALIAS)
    return out


def _strongest_log_prior(orders: np.ndarray, humps: np.ndarray, bars: np.ndarray, poles: int) -> np.ndarray:
    """Log prior that the strongest line of all has these orders, (M,), for each bar count; (M, B).

    It is nearly always a low harmonic of the ripple or, with a bad bar, a low even order.
    """
    q = np.rint(orders).astype(int)[:, None]
    harmonic = np.where(q % humps == 0, q // humps, 0)
    low_order = np.select(
        [q == 1, q == poles, q == 2 * poles, q == 3 * poles], [0.05, 0.2, 0.08, 0.03], 0.002
    )
    share = np.select(
        [harmonic == 1, harmonic == 2, harmonic == 3, harmonic > 3, (bars % 2 == 1) & (q % bars == 0)],
        [0.45, 0.2, 0.1, 0.2 / np.maximum(harmonic, 1) ** 2, UNLIKE_BRUSHES[poles > 2]],
        low_order,
    )
    return np.log(share)


def _fundamental_log_prior(
    spectrum: LineSpectrum, line_orders: np.ndarray, humps: np.ndarray, bars: np.ndarray, counts: np.ndarray
) -> np.ndarray:
    """Log prior of how strong the ripple's fundamental is beside its second harmonic, (M, B).

    Half the true speed takes the ripple for a second harmonic, whose fundamental is all but absent, and a
    third of it for a third. With odd bars the brushes commutate in turn, so the ripple is twice as fast and
    rounder: there the fundamental never fell behind on any simulated motor, of two kinds of physics, while
    with even bars it may fall behind the second harmonic, and never did both fall behind the rest.
    """
    place = np.outer(1 / line_orders, humps)
    power = [
        np.where(times * humps <= counts[:, None], _power_at(spectrum, times * place), np.nan)
        for times in range(1, HARMONICS + 1)
    ]
    first, second = power[:2]
    told = np.isfinite(first) & np.isfinite(second)
    rest = np.fmax.reduce([np.full(place.shape, DYNAMIC_RANGE), *power[2:]])
    log_ratio = np.log(np.where(told, first / second, 1.0))
    odd = bars % 2 == 1
    (usual, never), (even_usual, even_never) = np.log(FUNDAMENTAL_OVER_SECOND)
    usual, never = np.where(odd, usual, even_usual), np.where(odd, never, even_never)
    most = np.where(odd, BEYOND_NEVER, 1.0)
    against = np.where(odd, *LACKS_FUNDAMENTAL) * np.clip((usual - log_ratio) / (usual - never), 0, most)
    log_ratio = np.log(np.where(told, np.fmax(first, second) / rest, 1.0))
    usual, never = np.log(FIRST_TWO_OVER_REST)
    against = against + LACKS_FIRST_TWO * np.clip((usual - log_ratio) / (usual - never), 0, BEYOND_NEVER)
    return np.where(told, -against, 0.0)


def _power_at(spectrum: LineSpectrum, place: np.ndarray) -> np.ndarray:
    """Power at multiples of the followed line, any shape, over the strongest; NaN where it may be folded."""
    x, floor = spectrum.at(place.ravel())
    power = np.maximum(x * floor, DYNAMIC_RANGE)
    return np.where(spectrum.silent(place.ravel()), np.nan, power).reshape(place.shape)


def _alias_orders(samples_a_turn: float, count: int, turns: float) -> np.ndarray:
    """Orders where content beyond half the sampling rate folds to, away from whole and half orders; (a,).

    Empty unless sampling is slow and the turns are many enough to tell such orders from others.
    """
    part = min(samples_a_turn % 1.0, 1 - samples_a_turn % 1.0)
    if turns < ALIAS_TURNS or not 3 <= part * turns <= turns / 2 - 3:
        return np.zeros(0)
    return np.concatenate([np.arange(count) + part, np.arange(1, count) - part])


def _log_sum(x: np.ndarray) -> np.ndarray:
    top = x.max(axis=-1)
    return top + np.log(np.exp(x - top[..., None]).sum(axis=-1))


def _level_priors() -> tuple[np.ndarray, np.ndarray]:
    """Ripple level prior (J,), and even x odd level prior (J, J, not log)."""
    decade = LEVELS / np.log(10)
    ripple = -5.0 * np.maximum(-2.0 - decade, 0)  # a fault may outdo the ripple, but not hide it
    even = np.where(decade <= 0, 0.0, -3.0)
    gap = decade[None, :] - decade[:, None]
    symmetric = 0.998 * np.exp(-0.5 * ((gap + 2.1) / 0.6) ** 2) / (0.6 * np.sqrt(2 * np.pi))
    symmetric += 0.998 * 0.3 * ((gap < -2.1) / 5.0)
    broken = 0.004 * ((gap >= -1.5) & (gap <= 0.5)) / 2.0
    odd = np.log(symmetric + broken + 1e-12)
    odd -= logsumexp(odd, axis=1, keepdims=True)
    return ripple - logsumexp(ripple), np.exp(even[:, None] - logsumexp(even) + odd)


RIPPLE_LEVEL_PRIOR, EVEN_AND_ODD = _level_priors()
LINE_DENSITIES = {kind: _line_density(spread) for kind, spread in SPREAD.items()}
