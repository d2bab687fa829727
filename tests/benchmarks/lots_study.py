"""How often the test for early failures raises a false alarm, how soon it sees a bad lot, and how much of
what one told the true base hazard would see.

python -m tests.benchmarks.lots_study [FLEETS OF EQUAL LOTS] [FLEETS WITH A BAD LOT]

Fleets of types in lots, fitted over three years, looked at every two months for five years; lives are
Weibull. The bad lot's hazard is so many times the others'. The informed test knows the base hazard: with H
what a lot should have had by now and k what it had, the most of k ln(k/H) - (k - H) over all looks, named
where 1 % of fleets of equal lots ever see one named. Ours is analytics.past.lots on the same counts.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from analytics.past.lots import ALPHA, BANDS_KM, SUSPECT_ALPHA, likelihood_ratio

KM_PER_DAY, LOOK_DAYS, YEARS = 55.0, 60.0, 5


@dataclass(frozen=True)
class Shop:
    """A kind of fleet: pumps of a lot, types, lots of a type, Weibull scale and shape of lives."""

    each: int
    types: int
    lots: int
    life_km: float
    shape: float

    @property
    def groups(self) -> int:
        """Groups held against the rest: lots, and types where there are several."""
        return self.types * self.lots + (self.types if self.types > 1 else 0)


SHOPS = (Shop(40, 3, 8, 250e3, 2.0), Shop(12, 3, 8, 250e3, 2.0), Shop(10, 3, 25, 250e3, 2.0),
         Shop(40, 1, 5, 250e3, 1.0), Shop(30, 4, 3, 90e3, 2.5), Shop(12, 6, 4, 120e3, 1.2))  # fmt: skip


def watch(rng: np.random.Generator, shop: Shop, times: float) -> tuple[np.ndarray, np.ndarray]:
    """Follow one fleet whose first lot fails `times` as often; return (looks, groups), lots before types, of
    our likelihood ratio, and (looks, lots) of the informed test's."""
    lots = shop.types * shop.lots
    lot = np.repeat(np.arange(lots), shop.each)
    life = shop.life_km * rng.weibull(shop.shape, len(lot))
    life[lot == 0] *= times ** (-1 / shop.shape)
    daily = KM_PER_DAY * np.exp(rng.normal(0, 0.3, len(lot)))
    fitted = (lot % shop.lots) / shop.lots * 900 + rng.uniform(0, 200, len(lot))  # within some months
    ours, informed = [], []
    for day in np.arange(LOOK_DAYS, YEARS * 365, LOOK_DAYS):
        ran = np.maximum((day - fitted) * daily, 0)
        now, failed = np.minimum(ran, life), ran >= life
        inside = np.clip(np.minimum(now[:, None], BANDS_KM[None, 1:]) - BANDS_KM[None, :-1], 0, None)
        bands = inside.shape[1]
        band = np.searchsorted(BANDS_KM, now, side="right") - 1
        run = np.stack([np.bincount(lot, inside[:, b], lots) for b in range(bands)], axis=1)
        fell = np.bincount(lot[failed] * bands + band[failed], minlength=lots * bands).reshape(lots, bands)
        run_type, fell_type = (a.reshape(shop.types, shop.lots, bands).sum(1) for a in (run, fell))
        beside = np.repeat(fell_type, shop.lots, axis=0)
        share = run / np.maximum(np.repeat(run_type, shop.lots, axis=0), 1e-9)
        ratio = likelihood_ratio(fell.sum(1), beside, share)
        if shop.types > 1:
            of_type = run_type / np.maximum(run_type.sum(0), 1e-9)
            every = np.broadcast_to(fell_type.sum(0), fell_type.shape)
            ratio = np.concatenate([ratio, likelihood_ratio(fell_type.sum(1), every, of_type)])
        ours.append(ratio)
        k, base = fell.sum(1), np.bincount(lot, (now / shop.life_km) ** shop.shape, lots)
        gain = k * np.log(np.maximum(k, 1) / np.maximum(base, 1e-12)) - (k - base)
        informed.append(np.where(k > base, gain, 0.0))
    return np.array(ours), np.array(informed)


def main(equal: int, bad: int) -> None:
    """Run and print."""
    total = np.zeros(2)
    for shop in SHOPS:
        rng = np.random.default_rng(5)
        named, suspect = shop.groups / ALPHA, shop.groups / SUSPECT_ALPHA
        none = [watch(rng, shop, 1.0) for _ in range(equal)]
        most = np.array([ours.max() for ours, _ in none])
        limit = np.quantile([informed.max() for _, informed in none], 0.99)
        print(f"{shop}: equal lots, any named {np.mean(most >= named):.3f}, any suspect "
              f"{np.mean(most >= suspect):.3f} of {equal} fleets", flush=True)  # fmt: skip
        for times in (3.0, 5.0, 8.0):
            made = [watch(rng, shop, times) for _ in range(bad)]
            of_lot = np.array([ours[:, 0] for ours, _ in made])
            seen, first = of_lot.max(1) >= named, of_lot.max(1) >= suspect
            knew = np.array([informed[:, 0].max() >= limit for _, informed in made])
            lead = (of_lot >= named).argmax(1) - (of_lot >= suspect).argmax(1)
            months = np.median(lead[seen]) * LOOK_DAYS / 30 if seen.any() else np.nan
            total += seen.mean(), knew.mean()
            print(f"  hazard × {times:g}: named {seen.mean():.2f}, suspect {first.mean():.2f}, informed test "
                  f"{knew.mean():.2f}; suspect {months:.0f} months before", flush=True)  # fmt: skip
    print(f"power over all, of the informed test's: {total[0] / total[1]:.2f}")


if __name__ == "__main__":
    counts = [int(word) for word in sys.argv[1:3]]
    main(*(counts + [300, 80][len(counts) :]))
