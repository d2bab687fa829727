"""Cautions shown before anyone connects anything, on printed lists and in the documents.

Marks: [S] from public service and teaching texts; [P] common practice, no source found. They come second
to the maker's service information, local codes and licensed practice.
"""

from __future__ import annotations

from analytics.judging import spanish_cautions  # noqa: F401  (known once it is imported)
from ingest.wording.language import phrase

FIRST = (
    "The vehicle maker's service information, local codes and licensed practice come first; "
    "where they differ from this page, follow them."
)

# (when it applies, what to do, mark)
CAUTIONS: tuple[tuple[str, str, str], ...] = (
    (
        "fuel",
        "Keep sparks, flames and hot lamps away from fuel, and a class B extinguisher within reach.",
        "[S]",
    ),
    ("fuel", "Keep tablets, scopes and chargers away from open fuel, and air the bay well.", "[P]"),
    ("fuel", "Do not clamp near a leak: stop, cut the supply and mend the leak first.", "[P]"),
    ("fuel", "Relieve fuel pressure before opening a joint, and wrap the joint in a cloth.", "[S]"),
    ("fuel", "Fuel that reaches a hot exhaust can catch fire.", "[S]"),
    ("fuel", "Leave the high-pressure side of a direct-injection system closed.", "[P]"),
    ("fuel", "Wear gloves and eye protection whenever a fuel joint is opened.", "[P]"),
    ("fuel", "Never pinch or block a fuel line unless the vehicle maker says so.", "[P]"),
    (
        "fuel",
        "Never run a removed pump in air. Where its maker asks for a bench test: in test fluid, through a "
        "fuse, switch and battery well away.",
        "[P]",
    ),
    (
        "fuel",
        "LPG is heavier than air and gathers low; CNG rises and is stored at up to some 250 bar: leave both "
        "to people qualified for gas.",
        "[P]",
    ),
    ("electric", "Clamp insulated low-voltage wiring only; never an orange high-voltage cable.", "[P]"),
    ("electric", "Make a hybrid unable to start by itself before you lean in.", "[P]"),
    (
        "electric",
        "Run a hybrid's pump by the maker's command with starting disabled, never with the engine ready to "
        "start.",
        "[P]",
    ),
    ("electric", "Piezo injectors work at about 400 V: keep hands and probes off them.", "[S]"),
    ("electric", "Take the battery's negative lead off unless the test needs power.", "[S]"),
    (
        "electric",
        "It comes off, and goes back on, before the tank is opened or after it is closed: never where fuel "
        "vapour is about.",
        "[P]",
    ),
    (
        "electric",
        "A pump that does not turn draws 15 to 19 A: switch off at once, no second try; a connector at the "
        "tank that ran hot is renewed with the pump.",
        "[P]",
    ),
    ("electric", "Earth yourself and the vehicle against static before opening the fuel system.", "[P]"),
    ("jumper", "A jumper carries a fuse no larger than the circuit's own.", "[P]"),
    (
        "jumper",
        "Bypassing a relay also bypasses the crash and stall shut-off: stay beside it, keep it brief, "
        "never with a leak.",
        "[P]",
    ),
    (
        "meter",
        "An ammeter goes in series, never across the supply; its fuse must stand the inrush "
        "(2 to 5 times running current).",
        "[P]",
    ),
    (
        "meter",
        "A meter's 10 A input does not bear the 15 to 19 A of a stalled pump: use a clamp where a stall is "
        "possible.",
        "[P]",
    ),
    ("running engine", "Set the brake; keep leads, clamp and sleeves clear of belts and fans.", "[P]"),
    ("running engine", "Wear eye protection.", "[P]"),
    (
        "running engine",
        "Exhaust gas kills: lead it outside, or run the engine in the open.",
        "[P]",
    ),
)


def caution_lines() -> list[str]:
    """Return the cautions as sentences with their marks, the deferring one first."""
    return [phrase(FIRST), *(f"{phrase(text)} {mark}" for _, text, mark in CAUTIONS)]
