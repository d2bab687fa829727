"""Trade rules that come first: readings that are none, and proven faults of the circuit."""

from __future__ import annotations

from analytics.judging.rule import BOOK, Rule

DOUBTFUL: tuple[Rule, ...] = (
    Rule(
        "clipped",
        ("clipped",),
        "The top or bottom of the trace is cut off, so average and ripple are wrong: this reading judges "
        "nothing.",
        ("clamp",),
        says={"clamp": "Take a wider range and capture again."},
    ),
    Rule(
        "probe-factor",
        ("factor_off",),
        "The average is about ten times, or a tenth of, what this pump should draw: the probe factor or "
        "range "
        "is likelier wrong than the pump.",
        ("clamp",),
        says={"clamp": "Check the clamp's factor and range, zero it, and capture again."},
    ),
    Rule(
        "no-current-unproven",
        ("maybe_none",),
        "So little current may be none at all: a clamp whose zero nobody checked reads as much with nothing "
        "in it. It says nothing of this pump yet.",
        ("clamp",),
        says={
            "clamp": "Zero the clamp, clamp the pump's own wire, command the pump on and capture again.",
        },
    ),
    Rule(
        "no-current-running",
        ("dead", "running"),
        "No current with the engine running: the clamp, the wire, the meter's fuse, or another pump feeds "
        "the "
        "engine. It says nothing of this pump.",
        ("clamp",),
        says={"clamp": "Clamp the pump's own wire, check the meter's fuse and range, then capture again."},
    ),
    Rule(
        "no-current",
        ("dead",),
        "No current: no command, no volts at the plugged-in connector, or a dead pump. Drops read without "
        "current prove nothing.",
        ("loaded volts", "repeat"),
        end=BOOK,
        fails=True,
        says={
            "repeat": "Command the pump on once more with the clamp zeroed, for a second look.",
            "loaded volts, volts low": "Hardly any volts arrive: mend wire, relay, fuse or ground, then "
            "command the pump on again.",
        },
        done="No current on volts proven at the plugged-in connector: the pump has failed; replace it.",
    ),
    Rule(
        "stalled",
        ("stall_current", "no_ripple"),
        "The pump does not turn: the current of one that stands, at the volts it had, and no commutation "
        "ripple. Seized or stalled. Switch off: fuse and wiring run hot; no second try.",
        end=BOOK,
        fails=True,
        done="Switch off and leave it off: replace the pump, and the tank connector if it ran hot.",
    ),
    Rule(
        "far-above-no-ripple",
        ("far_above", "ripple_unseen"),
        "Far more current than it should draw at the volts it had, and no ripple seen: bandwidth, brushless, "
        "another load, a short, or a pump that does not turn. Don't leave it running: wiring runs hot.",
        ("clamp", "circuit", "pressure"),
        end=BOOK,
        says={"clamp": "Switch off; check range and wire, then take one brief capture at a faster rate."},
    ),
    Rule(
        "frozen",
        ("frozen",),
        "Every sample is the same, as no current is: the range is too small or too coarse, or the recorder "
        "stood still. This reading judges nothing.",
        ("clamp",),
        says={"clamp": "Check the range, and that the recorder runs, then capture again."},
    ),
)

CIRCUIT: tuple[Rule, ...] = (
    Rule(
        "leads-swapped",
        ("leads_swapped",),
        "A voltage drop reads below nothing: the meter's leads were swapped, so that drop is not known.",
        ("mend circuit",),
        says={"mend circuit": "Put the meter's leads right and measure both drops again under load."},
        family="circuit",
    ),
    Rule(
        "drops-impossible",
        ("drops_impossible",),
        "Drops and volts at the pump add up to more than any battery and charging give: one of them was read "
        "between the wrong points, so what the circuit loses is not known.",
        ("mend circuit",),
        says={
            "mend circuit": "Read both drops again under load: battery plus to pump plus, pump minus to "
            "battery minus."
        },
        unless=("supply_over",),
        family="circuit",
    ),
    Rule(
        "circuit-over-volts",
        ("supply_over",),
        "The volts are too high: charging is out of control. Amps and speed read high because of it.",
        ("mend circuit",),
        says={"mend circuit": "Check the charging voltage and regulator, then capture again."},
        family="circuit",
    ),
    Rule(
        "circuit-low-volts-primed",
        ("supply_low", "primed"),
        "Volts are low on prime: a discharged battery, or volts lost on the way.{lost} This reading does not "
        "judge the pump.",
        ("mend circuit",),
        says={
            "mend circuit": "Charge the battery, measure both drops under load, then prime and capture "
            "again.",
            "mend circuit, drops good": "The drops are good: charge and test the battery, then prime and "
            "capture "
            "again.",
            "mend circuit, drops high": "Clean or mend the {sides} side, charge the battery, then prime and "
            "capture again.",
        },
        family="circuit",
    ),
    Rule(
        "circuit-low-volts",
        ("supply_low",),
        "Volts at the pump are low for a running engine, whatever the amps say: wiring, battery or "
        "charging.{unsaid}{lost}",
        ("mend circuit",),
        says={
            "mend circuit": "Measure charging volts at the battery, then both drops at the pump under load.",
            "mend circuit, drops good": "The drops are good: check battery and charging, then capture again.",
            "mend circuit, state untold": "Say whether the engine ran; if it did, measure charging volts at "
            "the battery, then both drops at the pump.",
            "mend circuit, drops high": "Clean or mend the {sides} side of the circuit, check battery and "
            "charging, then capture again.",
        },
        unless=("primed",),
        family="circuit",
    ),
    Rule(
        "circuit-drop",
        ("drop_high",),
        "Too many volts are lost under load: {drops}.",
        ("mend circuit",),
        says={
            "mend circuit": "Clean or mend the {sides} side of the circuit, then measure and capture again."
        },
        family="circuit",
        mark="[W]",
    ),
    Rule(
        "connector-bad",
        ("connector_bad",),
        "The connector was found bad and is not recorded as renewed. One at the tank that ran hot is renewed "
        "together with the pump.",
        ("mend circuit",),
        says={
            "mend circuit": "Renew the connector and record that, then measure both drops and capture again."
        },
        family="circuit",
    ),
)
