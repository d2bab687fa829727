"""The facts that tell whether the pump system does its work: pressure, delivery, level and kind of fuel."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.judging.baseline import first_word, fuel_named, full_command, much_ethanol, number, text
from analytics.judging.explained import flow_left
from ingest.settings_in_force import Settings

PETROL = ("petrol", "gasoline", "e0", "e5", "e10", "e15", "e20", "e85", "flex")
LITTLE_ETHANOL = ("e0", "e5", "e10", "e15", "e20")  # pumps for these are not made for E85 [P]
DIESEL = ("diesel", "b0", "b5", "b7", "b10", "b20", "b30", "b100", "hvo", "gasoil")
GAS = ("lpg", "propane", "cng", "lng", "autogas")


def delivery_facts(visits: pd.DataFrame, settings: Settings) -> dict[str, np.ndarray]:
    """Pressure, delivery, level and kind of fuel: whether the pump system does its work."""
    rated = number(visits, "rated_pressure_kpa")
    pressure, delivery = number(visits, "fuel_pressure_kpa"), number(visits, "delivery_l_min")
    held = number(visits, "pressure_hold_kpa")
    free = (text(visits, "delivery_at") == "free").to_numpy()
    supply = text(visits, "supply", "direct")
    duty = number(visits, "duty_pct")
    full = full_command(visits) & ~((supply == "two-speed") & (text(visits, "commanded") == "")).to_numpy()
    known_command = full | (supply == "pwm").to_numpy() & ~np.isnan(duty)
    own_minimum = number(visits, "min_delivery_l_min")
    kind = fuel_kind(visits)
    lift = rated < settings["lift_pump_kpa"]
    petrol = np.isin(kind, ["", "petrol"]) & ~lift
    usual = np.where(np.isnan(own_minimum) & petrol, settings["min_delivery_l_min"], own_minimum)
    direct = (supply == "direct").to_numpy()
    minimum = np.where(direct, usual, own_minimum)
    pressure_low = pressure < settings["pressure_low_share"] * rated
    # Whatever was commanded, a pump that runs moves something.
    none_delivered = delivery < settings["nothing_delivered_share"] * usual
    no_pressure = pressure < settings["nothing_delivered_share"] * rated
    short_delivery = full & (delivery < minimum) | none_delivered
    short_pressure = known_command & pressure_low | no_pressure
    left, at_worst = flow_left(visits, settings), flow_left(visits, settings, at_worst=True)

    def left_short(share: np.ndarray) -> np.ndarray:
        """Whether less was measured than the share that the volts leave (n,)."""
        least_kpa = share * settings["pressure_low_share"] * rated
        return short_pressure & (pressure < least_kpa) | short_delivery & (delivery < share * usual)

    level = number(visits, "fuel_level_pct")
    low_level = float(settings["low_fuel_level_pct"])
    pressure_good = (pressure >= settings["pressure_good_share"] * rated) & (
        pressure <= settings["pressure_high_share"] * rated
    )
    delivery_good = ~free & np.where(np.isnan(minimum), pressure_good & (delivery > 0), delivery >= minimum)
    in_tank = _kind(text(visits, "fuel_in_tank"))
    too_much_ethanol = fuel_named(text(visits, "fuel"), LITTLE_ETHANOL) & much_ethanol(visits)
    return {
        "pressure_low": short_pressure,
        "pressure_high": pressure > settings["pressure_high_share"] * rated,
        "pressure_good": pressure_good,
        "pressure_measured": ~np.isnan(pressure),
        "delivery_low": short_delivery,
        "delivery_good": delivery_good & ~pressure_low,
        "delivery_measured": ~np.isnan(delivery) & ~free,
        "poor": short_delivery | short_pressure,
        # Fuel enough is moved, so that pressure is likelier let off than never made.
        "let_off": short_pressure & ~short_delivery & ~free & (delivery >= usual),
        "poor_by_own_limit": short_pressure | full & (delivery < own_minimum) | none_delivered,
        "volts_leave_short": left_short(left),
        "circuit_leaves_short": left_short(at_worst),
        "nothing_delivered": none_delivered | no_pressure,
        "command_unknown": ~known_command,
        "delivers_well": delivery_good & ~pressure_low & (pressure_good | np.isnan(pressure)),
        "pressure_held": held >= settings["pressure_hold_share"] * rated,
        "pressure_lost": held < settings["pressure_hold_share"] * rated,
        "level_low": level < low_level,
        "level_good": level >= low_level,
        "fuel_hot": number(visits, "fuel_temp_c") >= settings["hot_fuel_c"],
        "fuel_wrong": (kind != "") & (in_tank != "") & (in_tank != kind) | too_much_ethanol,
        "fuel_known": in_tank != "",
        "lift_pump": lift | np.isin(kind, ["diesel", "gas"]),
    }


def fuel_kind(visits: pd.DataFrame) -> np.ndarray:
    """Return what the pump type pumps (n,): petrol, diesel, gas, or "" where not known."""
    return _kind(text(visits, "fuel"))


def _kind(fuels: pd.Series) -> np.ndarray:
    codes, named = pd.factorize(fuels)
    groups = {"petrol": PETROL, "diesel": DIESEL, "gas": GAS}
    first = [first_word(fuel) for fuel in named]
    kinds = [next((kind for kind, words in groups.items() if word in words), "") for word in first]
    return np.array([*kinds, ""], dtype=object)[codes]
