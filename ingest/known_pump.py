"""What is known of a pump, and of how it is fed and run, before its capture is measured."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ingest.sensitivities import log_volts_ratio, sensitivities
from ingest.trade_numbers import DEFAULTS

TOLD = (
    "motor",
    "supply",
    "segments",
    "poles",
)  # of the pump itself, where a visit knows better than its type
LEAST_DUTY = 0.4  # of a PWM feed whose duty is not told, common practice, no source


@dataclass(frozen=True)
class KnownPump:
    """Facts told beside a capture; None is unknown. They weigh what the trace allows and never overrule it.

    segments: commutator bars. poles: of the motor. motor: brushed or brushless.
    supply: direct, two-speed or pwm; unknown, it is taken for direct unless the trace speaks against it.
    commanded: low or high, of a two-speed supply; duty_pct: of a PWM one.
    state: prime, idle or loaded.
    rpm_low, rpm_high: the usual band of the pump's type; it weighs speeds and forbids none.
    previous_rpm: speed at the last visit in the same state, previous_supply_v: the volts it was found at,
    supply_v: today's.
    """

    segments: int | None = None
    poles: int | None = None
    motor: str | None = "brushed"
    supply: str | None = None
    commanded: str | None = None
    duty_pct: float | None = None
    state: str | None = None
    rpm_low: float | None = None
    rpm_high: float | None = None
    previous_rpm: float | None = None
    previous_supply_v: float | None = None
    supply_v: float | None = None

    @property
    def band_rpm(self) -> tuple[float, float]:
        """Usual speeds, lowest and highest; a PWM feed slows a pump about as its duty tells."""
        low, high = self.rpm_low or DEFAULTS["rpm_low"], self.rpm_high or DEFAULTS["rpm_high"]
        if self.supply == "pwm":
            low *= self.duty_pct / 100 if self.duty_pct else LEAST_DUTY
        return low, high

    @property
    def expected_rpm(self) -> float | None:
        """The last visit's speed, scaled to today's volts where both are known (nominal exponent)."""
        if self.previous_rpm is None or self.supply_v is None or self.previous_supply_v is None:
            return self.previous_rpm
        ratio = log_volts_ratio(np.array([self.supply_v]), self.previous_supply_v)[0]
        return self.previous_rpm * math.exp(sensitivities().speed_volts * ratio)


UNKNOWN_PUMP = KnownPump()
