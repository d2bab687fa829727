"""Every number of the trade, once, with its mark, and the settings by which a fleet changes those it may.

Marks: S public source, W several public pages, P common practice, no source; none for what a fleet decides.
`docs/settings.md` is written from here (`python -m ingest.ledger.settings_page`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast

from ingest.settings_in_force import Settings
from ingest.units import KM_PER_MILE


@dataclass(frozen=True)
class Setting:
    """A default that a dated row of the ledger's `setting` table overrides (ingest.ledger.settings)."""

    default: Any
    mark: str
    meaning: str


SETTINGS: dict[str, Setting] = {
    "distance_unit": Setting("mi", "", "how distances are shown, mi or km; km is what is stored"),
    "currency": Setting("USD", "", "of every amount"),
    "records_are": Setting("real", "", "`invented` for a demo fleet: then no figure passes for evidence"),
    "reference_supply_v": Setting(
        13.5, "P", "volts of a 12 V system at which current and speed are compared, a 24 V system's are twice"
    ),
    "ripple_limit_pct": Setting(15.0, "P", "most ripple of the average, where the pump type has no limit"),
    "ripple_far_times": Setting(3.0, "P", "times its limit: ripple that no healthy pump shows"),
    "few_sparks_per_s": Setting(
        2.0, "P", "up to so many sparks the plain (highest - lowest) is taken for ripple if need be"
    ),
    "rpm_low": Setting(3400.0, "P", "lower end of the usual speed, where the pump type has none"),
    "rpm_high": Setting(10_000.0, "P", "upper end of the usual speed, where the pump type has none"),
    "drop_supply_limit_v": Setting(0.5, "W", "most volts lost on the supply side under load"),
    "drop_ground_limit_v": Setting(0.1, "W", "most volts lost on the ground side under load"),
    "low_supply_v": Setting(
        12.0, "P", "below this at the pump, engine running, a 12 V system's volts are in question"
    ),
    "low_supply_prime_v": Setting(11.6, "P", "the same on a key-on prime, nothing charging"),
    "high_supply_v": Setting(15.5, "P", "above this a 12 V system overcharges"),
    "sound_supply_v": Setting(
        13.0, "P", "at the pump, engine running: from here on pressure and delivery judge the pump system"
    ),
    "charging_v": Setting(
        12.6, "P", "below this at the battery, engine running, a 12 V system is not being charged"
    ),
    "low_fuel_level_pct": Setting(25.0, "W", "below a quarter tank the pump runs hot"),
    "min_delivery_l_min": Setting(
        1.0, "P", "least delivery, where the type has none: of directly supplied petrol pumps; orders a check"
    ),
    "pressure_low_share": Setting(
        0.8, "P", "of the rated pressure: below it the pump system does not deliver"
    ),
    "nothing_delivered_share": Setting(
        0.2, "P", "of the rated pressure, or of the least delivery: so little is wrong at any command"
    ),
    "pressure_good_share": Setting(0.9, "P", "of the rated pressure: from here on pressure is met"),
    "pressure_high_share": Setting(1.2, "P", "of the rated pressure: above it regulator or return are asked"),
    "pressure_hold_share": Setting(
        0.6, "P", "of the rated pressure, some minutes after the pump stopped: less does not hold"
    ),
    "lift_pump_kpa": Setting(
        150.0,
        "P",
        "rated pressure below which a pump is a lift pump: no usual speed and delivery hold for it",
    ),
    "hot_fuel_c": Setting(45.0, "P", "fuel this warm may turn to vapour in a strainer or line"),
    "near_limit_share": Setting(
        0.15, "P", "outer share of the specified current's width that counts as near its end"
    ),
    "very_low_share": Setting(0.5, "P", "of the specified low end: a current below it is very low"),
    "dead_a": Setting(0.2, "P", "amps: no pump runs on less"),
    "usual_low_a": Setting(2.0, "W", "below it an average looks odd where no specification is known"),
    "usual_high_a": Setting(10.0, "W", "above it an average looks odd where no specification is known"),
    "stall_times": Setting(2.0, "P", "times the specified high end or own level, at full volts: far above"),
    "no_ripple_pct": Setting(3.0, "P", "less ripple of the average is none: a commutator does not turn"),
    "zero_unverified_a": Setting(0.3, "P", "amps that a clamp may be off by where its zero was not checked"),
    "reversed_drop_v": Setting(0.05, "P", "a drop this far below nothing was read with the leads swapped"),
    "new_pump_fast_rpm": Setting(7500.0, "P", "a new pump this fast on little current pumps air"),
    "baseline_change_pct": Setting(
        5.0, "P", "smallest change of current from the pump's own baseline that counts as a direction"
    ),
    "baseline_speed_pct": Setting(3.0, "P", "the same of speed, which a load moves a third as far"),
    "baseline_far_pct": Setting(10.0, "P", "change from the pump's own baseline that counts as far"),
    "ripple_jump_points": Setting(
        8.0, "P", "points of the average by which ripple must step up at once, to count as a jump"
    ),
    "segment_odd_pct": Setting(5.0, "P", "of the average that one segment may lie from the others"),
    "unsteady_pct": Setting(2.0, "P", "scatter of the speed within a capture that counts as unsteady"),
    "duty_within_points": Setting(5.0, "P", "readings compare if their duties differ by no more"),
    "baseline_visits": Setting(3, "P", "first healthy readings that make the baseline"),
    "baseline_new_km": Setting(800.0, "P", "km: a first reading so soon after fitting is a new pump's"),
    "baseline_bedding_km": Setting(5000.0, "P", "km from fitting until which brushes may still bed in"),
    "type_far_pct": Setting(
        25.0, "P", "from pumps of the same type, where no specification is known, that counts as far"
    ),
    "type_pumps": Setting(5, "P", "fewer pumps of a type make no level to be held against"),
    "steps_valid_days": Setting(60, "P", "how long a passed circuit or filter check counts for a booking"),
    "clamp_accuracy_pct": Setting(2.0, "P", "of the reading, where the clamp is not known by name"),
    "clamp_accuracy_a": Setting(0.05, "P", "amps on top of it"),
    "clamps": Setting({}, "", 'accuracy by a clamp\'s name: `{"blue": {"pct": 1.0, "a": 0.02}}`'),
    "capture_name_rule": Setting(
        "",
        "",
        "how capture files are named, such as `{unit}_{day}_{clamp}`; empty: a unit's number by itself",
    ),
    "next_capture_days": Setting(183, "S", "where a unit has no interval: 6 months (public fleet documents)"),
    "next_capture_km": Setting(12_070.0, "S", "and 7,500 miles (public fleet documents)"),
    "probe_factor_ratio": Setting(
        10.0, "P", "about so many times the pump's own level, or such a part, a probe factor is asked about"
    ),
    "idle_hour_miles": Setting(29.0, "P", "miles that an engine hour is worth (25 to 33)"),
    "planned_replacement": Setting(650.0, "", "all in, of `currency`: placeholder until confirmed"),
    "failure_replacement": Setting(2400.0, "", "all in, of `currency`: placeholder until confirmed"),
    "plan_horizon_days": Setting(120, "", "how far ahead replacements are booked"),
    "plan_shared_share": Setting(0.5, "P", "of the hours, that a further pump at the same stop saves"),
    "plan_service_level": Setting(0.95, "P", "chance that no part is missing in a lead time"),
    "check_closed_hours": Setting(0.35, "P", "of a bay, for a check with the tank closed"),
    "check_open_hours": Setting(0.65, "P", "of a bay, for opening the tank where the pump stays"),
    "extra_stop_days": Setting(7, "P", "days of notice that a stop made for the pump alone takes"),
    "supply_fell_v": Setting(0.8, "P", "less at the pump of a running engine than before is looked into"),
    "no_fuel_days": Setting(
        28, "P", "days after which a unit in use has shown that it runs on what a reading found too little"
    ),
    "workdays": Setting(
        {"": [1, 2, 3, 4, 5]},
        "P",
        'days with a bay open, 1 Monday to 7, by depot; `""`: any other',
    ),
    "closed_days": Setting({}, "", 'days without a bay by depot, `""`: all: `{"": ["2026-12-25"]}`'),
    "keep_initials_days": Setting(0, "", "how long initials and names stay, 0 for good: `pumpledger forget`"),
    "keep_photos_days": Setting(0, "", "how long pictures of connections stay, 0 for good"),
    "keep_waveforms_days": Setting(0, "", "how long waveforms stay, 0 for good; their readings stand"),
    "keep_changes_days": Setting(0, "", "how long lines of the change log stay, 0 for good"),
    "work_starts": Setting(7.0, "P", "hour of the day at which a depot opens, for the calendar"),
    "work_ends": Setting(16.0, "P", "hour of the day at which it closes"),
    "demand_finished_finding": Setting(
        False, "", "change nothing before every step of its finding is passed, whatever that costs"
    ),
    "least_saving_share": Setting(
        0.04, "P", "of a planned change: work that saves less is not ordered, as no forecast is so exact"
    ),
    "beside_share": Setting(0.4, "P", "of odd readings, that a cause beside the pump explains"),
    "beside_breaks_share": Setting(0.3, "P", "of such causes, that break down on the road if nobody looks"),
    "check_miss_share": Setting(0.2, "P", "of such causes, that a check misses"),
    "check_false_share": Setting(
        0.05, "P", "of checks where there is none, that name one all the same and stop the change"
    ),
    "check_open_share": Setting(0.5, "P", "of causes named, that are found only with the tank open"),
    "comeback_share": Setting(0.02, "P", "of changes, that come back"),
    "risk_ceiling": Setting(
        {"ambulance": 0.05, "school bus": 0.05}, "P", "highest risk by vehicle class, whatever the costs say"
    ),
}
DEFAULTS = cast(Settings, {name: setting.default for name, setting in SETTINGS.items()})

# What no fleet needs to change.
HIGHEST_A = 100.0  # [P] above it no fuel pump, so the probe factor or the unit is wrong
PLAUSIBLE_A = (0.5, 40.0)  # [P] a pump's mean lies between
CLAMP_DRIFT_A = (
    0.0022  # [P] by which a clamp's zero drifts in a second, times root seconds (standard deviation)
)
USUAL_A = (1.25, 20.0)  # [P] and nearly always between, a tenfold error of the probe beyond
USUAL_SWING_A = (0.2, 2.0)  # [P] what a healthy pump's current varies by, peak to peak, about
LEAST_A = 0.1  # [P] with mean and swing below it there is no current
SUPPLY_SHARE = (0.5, 1.4)  # [P] of the system's volts: outside, an entry is asked about
FAR_FROM_OWN_LEVEL = 0.25  # [P] of ln current: then other units are looked at for a mix-up
KM_PER_DAY = 11_543 * KM_PER_MILE / 365.25  # [S] light truck or van, AFDC chart 10309; without own odometers
USUAL_INTERVAL_KM = 5000 * KM_PER_MILE  # [P] between PM stops, where a unit has no interval
USUAL_RPM = 5800.0  # [P] stands in where no speed was told
LEAD_DAYS = 5.0  # [P] dealer parts take 2-10 days


def probe_factor_band(settings: Settings) -> tuple[float, float]:
    """Return how many times its level, or which part of it, a current may be for its probe factor to be asked
    about, lowest and highest."""
    times = float(settings["probe_factor_ratio"])
    return 0.7 * times, 1.4 * times  # [P] what counts as about so many times
