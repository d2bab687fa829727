"""Trade rules on whether the pump system delivers: what was examined, fuel, command, pressure, volume."""

from __future__ import annotations

from analytics.judging.rule import BOOK, WATCH, Rule

# What the current and the volume say of where it is lost goes first.
FLOW_LEADS = (("held_back", ("filter", "hose")), ("let_off", ("regulator", "hose")))
FLOW_SAYS = {
    "hose, held back": "Follow the line from the pump to the gauge, in the tank too, for a kink or a pinch.",
}

DELIVERS: tuple[Rule, ...] = (
    Rule(
        "filter-or-strainer-bad",
        ("filter_or_strainer_bad",),
        "The filter or strainer was found bad and is not recorded as renewed.",
        ("mend filter",),
        says={"mend filter": "Renew what was found bad, clean the tank if it was dirt, then capture again."},
    ),
    Rule(
        "hose-or-regulator-bad",
        ("hose_or_regulator_bad",),
        "The hose or regulator was found bad and is not recorded as renewed.",
        ("mend flow",),
        says={"mend flow": "Renew the hose or regulator found bad, then measure pressure and capture again."},
    ),
    Rule(
        "fuel-wrong",
        ("fuel_wrong",),
        "The fuel in the tank is not the kind this pump is made for.",
        ("mend flow",),
        says={
            "mend flow": "Make sure of the fuel in the tank; drain and refill before anything else is judged."
        },
    ),
    Rule(
        "duty-unknown",
        ("duty_unknown",),
        "The supply is pulsed and its duty is not known: the amps, pressure and delivery can't be judged.",
        ("command",),
        says={"command": "Note the commanded duty, or command full duty, and capture again."},
        unless=("nothing_delivered",),
    ),
    Rule(
        "speed-command-unknown",
        ("speed_command_unknown",),
        "This supply has two speeds, and nobody says which was commanded: a low reading may be low speed.",
        ("command",),
        says={"command": "Say which speed was commanded; command high and capture again."},
        unless=("nothing_delivered",),
    ),
    Rule(
        "supply-switched",
        ("switched",),
        "The current is switched many times a second, by a pulsed supply that nobody told of, or by a dead "
        "bar, with which a pump may not restart: amps, ripple and speed can't be judged.",
        ("command",),
        says={
            "command": "Say how the pump is fed and at what duty, or feed it directly and capture again, "
            "before it leaves."
        },
    ),
    Rule(
        "pressure-high",
        ("pressure_high",),
        "Pressure is far above rated: regulator or return line, or a filter after the gauge. The amps follow "
        "from it.",
        ("mend flow",),
        end=WATCH,
        says={
            "mend flow": "Check regulator, return line and a filter after the gauge for a blockage, then "
            "measure pressure."
        },
    ),
    Rule(
        "does-not-deliver-volts-unknown",
        ("poor",),
        "The pump system delivers too little: {shortfall}, but good volts at the pump are not proven: a weak "
        "supply looks the same.",
        ("mend circuit",),
        says={
            "mend circuit": "Measure volts at the pump under load, engine running, then pressure or "
            "delivery again.",
            "mend circuit, drops good": "Bring volts at the pump above 13: battery and charging; then "
            "measure again.",
        },
        unless=("supply_sound", "volts_leave_short"),
        family="flow",
    ),
    Rule(
        "does-not-deliver",
        ("poor_by_own_limit",),
        "The pump system does not deliver, whatever the amps say: {shortfall}.{leads}{command} Fuel level "
        "and kind, strainer, in-tank hose, regulator, filter; if these are good, the pump.",
        ("level", "strainer", "hose", "regulator", "filter", "fuel", "again"),
        end=BOOK,
        family="flow",
        says=FLOW_SAYS,
        leads=FLOW_LEADS,
    ),
    Rule(
        "delivers-little",
        ("poor",),
        "The pump system delivers little: {shortfall}, where the type states no minimum of its own."
        "{leads}{command} Level, strainer, in-tank hose, regulator and filter come before the pump.",
        ("level", "strainer", "hose", "regulator", "filter", "again"),
        end=WATCH,
        family="flow",
        says=FLOW_SAYS,
        leads=FLOW_LEADS,
    ),
    Rule(
        "air-after-repair",
        ("after_repair", "flow_low_pattern", "new_and_fast"),
        "Little current and a high speed just after a repair: air in the line.",
        ("bleed", "delivery"),
        end=WATCH,
        family="flow",
    ),
    Rule(
        "new-pump-below",
        ("after_repair", "current_below"),
        "Just repaired and below specification: the circuit, air in the line, a kinked hose or the wrong "
        "part.",
        ("circuit", "bleed", "level", "delivery"),
        end=WATCH,
        family="flow",
    ),
    Rule(
        "starved-low-tank",
        ("little_on_low_tank",),
        "Little current on a low tank: the pump may be drawing air. Fuel it before anything else.",
        ("level",),
        says={"level": "Refuel to above a quarter tank, then capture again."},
        family="flow",
    ),
    Rule(
        "low-current-but-delivers",
        ("flow_low_pattern", "delivers_well"),
        "The current is low, but what was measured of pressure and volume is met: the pump does its work. "
        "Clamp or specification "
        "are likelier wrong.",
        ("pressure", "repeat"),
        unless=("speed_fell_far",),
        says={"repeat": "Zero the clamp, or take another, and capture again; check the specification."},
        done="Pressure and volume are met: keep it, and check the specification against the part number.",
        family="flow",
    ),
    Rule(
        "runs-dry",
        ("hardly_loaded", "turns_fast"),
        "Far too little current at a high speed, which no weak supply gives: the pump moves no fuel, as one "
        "does that runs dry. Don't leave it running: fuel cools and lubricates it.",
        ("level", "strainer", "hose", "delivery", "regulator", "repeat", "filter"),
        end=BOOK,
        unless=("speed_doubtful",),
        says={"level": "Switch off; read the fuel level, and look for a blocked strainer or split hose."},
        family="flow",
    ),
    Rule(
        "fast-but-delivers",
        ("speed_high", "delivers_well"),
        "The pump turns faster than {rpm_high:,.0f} rpm and delivers: this type may simply be fast.",
        done="Enter this type's usual speed, so that later readings are judged by it.",
        fault=False,
    ),
)
