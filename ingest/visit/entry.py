"""What a person enters at one visit."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime

from ingest.vocabulary import PARTS

# What is worth keeping without any current: what a check found, and at a follow-up what it measured.
_EXAMINED = (*PARTS, "check_result", "closes", "pressure_hold_kpa")
_MEASURED = ("supply_v", "drop_supply_v", "drop_ground_v", "fuel_pressure_kpa", "delivery_l_min")


@dataclass(frozen=True)
class VisitEntry:
    """One visit as entered; distances in km with the number and unit as typed beside them.

    Words are those of ingest.vocabulary.

    `position` None means the unit's only one. `visited_on` is the local date (None: today), `visited_at`
    the same moment in UTC (naive) where it is known. `done` names the work of service rows. `pump_type`
    serves only when the pump is new to the ledger, `same_pump` only where a serial is told for the first time
    (it is of the pump that was there before); motor, supply, segments and poles go before what its type
    says, from this visit of the pump on.
    """

    unit: str
    position: str | None = None
    serial: str | None = None
    same_pump: bool = False
    pump_type: str | None = None
    visited_on: date | None = None
    visited_at: datetime | None = None
    time_zone: str | None = None
    odometer_km: float | None = None
    odometer_entered: float | None = None
    odometer_unit: str | None = None
    hours: float | None = None
    reason: str = "pm"
    state: str | None = None
    meter_a: float | None = None
    zero_checked: str | None = None
    probe: str | None = None
    channel: str | None = None
    motor: str | None = None
    supply: str | None = None
    segments: int | None = None
    poles: int | None = None
    commanded: str | None = None
    fuel: str | None = None
    supply_v: float | None = None
    supply_v_at: str | None = None
    drop_supply_v: float | None = None
    drop_ground_v: float | None = None
    fuel_pressure_kpa: float | None = None
    delivery_l_min: float | None = None
    delivery_at: str | None = None
    pressure_hold_kpa: float | None = None
    filter_state: str | None = None
    strainer: str | None = None
    hose: str | None = None
    regulator: str | None = None
    connector: str | None = None
    check_result: str | None = None
    closes: str | None = None
    fuel_temp_c: float | None = None
    fuel_level_pct: float | None = None
    duty_pct: float | None = None
    clamp: str | None = None
    clamp_point: str | None = None
    technician: str | None = None
    note: str | None = None
    ref: str | None = None
    done: tuple[str, ...] = field(default_factory=tuple)

    @property
    def examined(self) -> bool:
        """Whether it is worth keeping without any current."""
        names = (*_EXAMINED, *(_MEASURED if self.reason == "follow-up" else ()))
        return any(getattr(self, name) is not None for name in names)
