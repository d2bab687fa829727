"""Names and equipment of the demo's county fleet. Every make, part number and place is invented."""

from __future__ import annotations

from dataclasses import dataclass

DEPOTS = {"Ashmere Vale": "AV", "Port Lunnet": "PL", "Quarrow": "QW", "Stenmouth": "SM"}
DEPOT_SHARES = (0.35, 0.25, 0.25, 0.15)
BAY_HOURS_A_WEEK = {"Ashmere Vale": 60, "Port Lunnet": 40, "Quarrow": 40, "Stenmouth": 24}

# class: make, model, hours for a pump change
MODELS = {
    "van": ("Velmora", "Haven 30", 2.5),
    "patrol car": ("Tarnholt", "Sentry-line P", 2.0),
    "shuttle": ("Velmora", "Omni 16", 3.0),
    "refuse": ("Grondahl", "Lifter 7", 4.5),
    "ambulance": ("Tarnholt", "Relay A", 3.0),
}


@dataclass(frozen=True)
class PumpKind:
    """One part number. `segments` None: nobody knows. pwm_hz: drive frequency, 0 for a direct feed."""

    pump_type: str
    engine: str
    bars: int
    segments: int | None
    filter: str
    lead_time_days: int
    price: float
    pwm_hz: float = 0.0


# In the order of the life simulator's types.
PUMP_KINDS = (
    PumpKind("TP-4108", "3.1 petrol", 8, 8, "inline", 2, 214.0),
    PumpKind("TP-4110", "4.4 petrol", 10, 10, "module", 4, 268.0),
    PumpKind("GL-0720", "2.6 petrol", 8, None, "inline", 6, 241.0),
    PumpKind("GL-0755P", "2.2 petrol, direct injection", 8, 8, "none", 12, 389.0, pwm_hz=4000.0),
)


@dataclass(frozen=True)
class Bench:
    """A depot's clamp and digitiser."""

    clamp: str
    gain_error: float
    zero_a: float
    bandwidth_hz: float
    sample_rate_hz: float
    bits: int
    full_scale_a: float
    shape: str


BENCHES = {
    "Ashmere Vale": Bench("clamp 1", 0.004, 0.03, 20e3, 25e3, 12, 20.0, "comma-seconds"),
    "Port Lunnet": Bench("clamp 2", -0.006, 0.08, 20e3, 40e3, 12, 20.0, "semicolon-decimal-comma"),
    "Quarrow": Bench("clamp 3", 0.002, -0.05, 50e3, 50e3, 12, 25.0, "stated-rate"),
    "Stenmouth": Bench("clamp 4", 0.008, 0.02, 20e3, 25e3, 10, 20.0, "tab-milliseconds"),
}
TECHNICIANS = {
    "Ashmere Vale": ("A1", "A2", "A3"),
    "Port Lunnet": ("P1", "P2"),
    "Quarrow": ("Q1", "Q2"),
    "Stenmouth": ("S1",),
}
