"""The settings in force by name, each with its kind: what every rule, forecast and page reads them as.

Meanings, units and marks: `ingest.trade_numbers.SETTINGS`, which holds the same names.
"""

from collections.abc import Mapping
from typing import Any, TypedDict, cast


class Settings(TypedDict):
    """Every setting, defaults filled in. What is counted in days or visits may be told as a float too."""

    distance_unit: str
    currency: str
    records_are: str
    reference_supply_v: float
    ripple_limit_pct: float
    ripple_far_times: float
    few_sparks_per_s: float
    rpm_low: float
    rpm_high: float
    drop_supply_limit_v: float
    drop_ground_limit_v: float
    low_supply_v: float
    low_supply_prime_v: float
    high_supply_v: float
    sound_supply_v: float
    charging_v: float
    low_fuel_level_pct: float
    min_delivery_l_min: float
    pressure_low_share: float
    nothing_delivered_share: float
    pressure_good_share: float
    pressure_high_share: float
    pressure_hold_share: float
    lift_pump_kpa: float
    hot_fuel_c: float
    near_limit_share: float
    very_low_share: float
    dead_a: float
    usual_low_a: float
    usual_high_a: float
    stall_times: float
    no_ripple_pct: float
    zero_unverified_a: float
    reversed_drop_v: float
    new_pump_fast_rpm: float
    baseline_change_pct: float
    baseline_speed_pct: float
    baseline_far_pct: float
    ripple_jump_points: float
    segment_odd_pct: float
    unsteady_pct: float
    duty_within_points: float
    baseline_visits: float
    baseline_new_km: float
    baseline_bedding_km: float
    type_far_pct: float
    type_pumps: float
    steps_valid_days: float
    clamp_accuracy_pct: float
    clamp_accuracy_a: float
    clamps: dict[str, dict[str, float]]
    capture_name_rule: str
    next_capture_days: float
    next_capture_km: float
    probe_factor_ratio: float
    idle_hour_miles: float
    planned_replacement: float
    failure_replacement: float
    plan_horizon_days: float
    plan_shared_share: float
    plan_service_level: float
    check_closed_hours: float
    check_open_hours: float
    extra_stop_days: float
    supply_fell_v: float
    no_fuel_days: float
    workdays: dict[str, list[int]]
    closed_days: dict[str, list[str]]
    keep_initials_days: float
    keep_photos_days: float
    keep_waveforms_days: float
    keep_changes_days: float
    work_starts: float
    work_ends: float
    demand_finished_finding: bool
    least_saving_share: float
    beside_share: float
    beside_breaks_share: float
    check_miss_share: float
    check_false_share: float
    check_open_share: float
    comeback_share: float
    risk_ceiling: dict[str, float]


def by_name(settings: Settings, name: str) -> Any:
    """Return a setting whose name is only known at run time; raises KeyError for one there is none of."""
    return cast(Mapping[str, Any], settings)[name]
