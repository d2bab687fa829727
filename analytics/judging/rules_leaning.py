"""Trade rules of less weight: they lean one way, stay open, or say what could not be judged."""

from __future__ import annotations

from analytics.judging.rule import BOOK, WATCH, Rule

LEANINGS: tuple[Rule, ...] = (
    Rule(
        "ripple-very-high",
        ("ripple_far_over",),
        "Ripple is several times what any good pump shows: an open or shorted coil, a dead bar, or "
        "brushes.{segment} "
        "Such a pump may not restart.",
        ("repeat", "filter"),
        end=WATCH,
        says={"repeat": "Zero the clamp, look at sparks and segments, and capture again before it leaves."},
        family="ripple",
    ),
    Rule(
        "ripple-unsure",
        ("ripple_unsure",),
        "What varies is several times a good pump's ripple, or its own, but the turn it belongs to was not "
        "told: a dead bar or coil, or brushes, with which a pump may not restart, or the engine, another "
        "load or a switched supply.",
        ("repeat",),
        end=WATCH,
        says={
            "repeat": "Capture again on a key-on prime, engine off, with the right number of segments told, "
            "before it leaves.",
            "repeat, primed": "Look at sparks and segments, and capture the whole prime again, with the "
            "right number of segments told, before it leaves.",
            "repeat, segments contradicted": "Count the segments or look their number up and enter it, then "
            "capture again on a key-on prime, engine off, before it leaves.",
        },
        family="ripple",
    ),
    Rule(
        "segment-odd",
        ("segment_odd",),
        "One segment stands out.{segment} A bar, its coil or a brush is going{unseen}.",
        ("repeat",),
        end=WATCH,
        says={"repeat": "Zero the clamp and capture again; see whether the same segment stands out."},
        family="ripple",
    ),
    Rule(
        "state-untold",
        ("state_untold_far",),
        "How the engine ran is not noted, so the average is held against nothing of its own; beside this "
        "pump's readings at {other_state} it lies {other_pct:+.0f} %.",
        ("clamp",),
        says={"clamp": "Note how the engine ran for this capture, or capture again at the state of before."},
    ),
    Rule(
        "ripple-high-speed-down",
        ("ripple_over", "speed_fell", "supply_good"),
        "Ripple is over {ripple_limit:.0f} % of the average and the pump turns slower than its own baseline "
        "on "
        "good volts: brush or commutator wear.",
        ("repeat", "circuit"),
        end=BOOK,
        unless=("fuel_hot",),
        says={"repeat": "Zero the clamp, look at sparks and segments, and capture again."},
        family="wear",
    ),
    Rule(
        "ripple-high",
        ("ripple_over",),
        "Ripple is over {ripple_limit:.0f} % of the average: irregular commutation or a restriction. That "
        "alone "
        "condemns nothing.",
        ("filter",),
        end=WATCH,
        unless=("irregular",),
        says={"filter": "Check the outlet filter; look at sparks and segments, and watch the trend."},
        family="ripple",
        fault=False,
    ),
    Rule(
        "irregular",
        ("irregular",),
        "The pump runs irregularly, with sparks or an unsteady speed: brushes, vapour, or an unsteady "
        "supply.",
        ("repeat", "circuit"),
        end=WATCH,
        says={"repeat": "Zero the clamp and capture again on a key-on prime, engine off, to compare."},
        family="ripple",
    ),
    Rule(
        "segments-contradicted",
        ("segments_contradicted",),
        "The trace does not fit the number of segments told, so that speed and ripple are not known: a wrong "
        "number, another pump, or another motor's wire.",
        ("repeat",),
        says={
            "repeat": "Count the segments or look their number up, and enter it; if it was right, clamp the "
            "pump's own wire and capture again.",
        },
        done="It stays: count the segments when the pump is next out; until then only the average is known.",
        fault=False,
    ),
    Rule(
        "speed-unlike-last",
        ("speed_unlike_last",),
        "The speed that the trace leads to is too far from the last visit's to be told: one of the two was "
        "misread, or it is another pump.",
        ("repeat",),
        says={
            "repeat": "Make sure of the pump, its segments and poles, then capture again: two that agree "
            "stand against one.",
        },
        done="It stays: make sure which pump is fitted, and enter its segments and poles.",
        fault=False,
    ),
    Rule(
        "no-commutation",
        ("no_commutation",),
        "The current is flat at a rate that would show a commutator's ripple: another wire, a pump without "
        "brushes or one that does not turn, or a clamp too slow to show it.",
        ("repeat",),
        says={"repeat": "Zero the clamp on the pump's own wire, hear that it runs, and capture again."},
        done="It stays: make sure of the motor and of how fast the clamp follows; only the average is known.",
        fault=False,
    ),
    Rule(
        "charging-low",
        ("charging_low",),
        "With the engine running the battery has {battery:.1f} V: it is not being charged. The pump is "
        "judged at the volts it had.",
        ("mend circuit",),
        says={"mend circuit": "Check battery and charging, then capture again."},
        family="circuit",
        fault=False,
    ),
    Rule(
        "supply-fell",
        ("supply_fell",),
        "The pump gets {at_pump:.1f} V, {fell:.1f} V less than before: volts are being lost on the way, or "
        "charging has fallen. The pump is judged at the volts it had.",
        ("mend circuit",),
        says={
            "mend circuit": "Measure charging volts at the battery, then both drops at the pump under load.",
            "mend circuit, drops good": "The drops are good: check battery and charging, then capture again.",
        },
        family="circuit",
        fault=False,
    ),
    Rule(
        "average-undecided",
        ("current_undecided",),
        "The average lies outside specification by less than the clamp's accuracy and its zero allow "
        "(±{accuracy:.2f} A): that decides nothing.",
        ("repeat",),
        says={"repeat": "Zero the clamp, take its narrowest range or another clamp, and capture again."},
        done="It stays, and no clamp tells more: check the clamp on a known current; the next capture as "
        "planned.",
        fault=False,
    ),
    Rule(
        "unlike-the-one-before",
        ("unlike_the_one_before",),
        "The average lies {one_pct:+.0f} % from the one earlier reading that it can be held against: one "
        "alone doesn't tell which of the two is right.",
        ("repeat",),
        end=WATCH,
        says={
            "repeat": "Zero the clamp and capture again in the same state and at the same command: two that "
            "agree make this pump's level."
        },
        fault=False,
    ),
    Rule(
        "pressure-not-held",
        ("pressure_lost",),
        "Pressure falls off after the pump stops: its check valve, the regulator or an injector leaks. It "
        "makes "
        "for long cranking, not for a weak pump.",
        ("regulator",),
        end=WATCH,
        says={"regulator": "Find the leak: close off the return, then the supply, only as the maker allows."},
    ),
    Rule(
        "complaint-open",
        ("complaint_open",),
        "A complaint is open and the reading does not show its cause: not reproduced. It stays open until "
        "pressure hold, volume, connector and a hot retest are recorded good, or a cause is found.",
        ("hold", "delivery", "connector", "repeat"),
        says={"repeat": "Retest hot and capture again while the complaint shows."},
        done="Every step is recorded good: close the complaint with what was found.",
    ),
    Rule(
        "average-near-high",
        ("current_near_high",),
        "The average is near the high end of specification: a restriction on the outlet side is likeliest.",
        ("filter", "pressure"),
        unless=("own_level_known",),
        says={"pressure": "Check line, regulator and return by measuring pressure, then capture again."},
        fault=False,
    ),
    Rule(
        "average-near-low",
        ("current_near_low",),
        "The average is near the low end of specification; not a fault by itself, but it matters with an "
        "unexplained lean complaint.",
        unless=("own_level_known",),
        done="Note it and carry on.",
        fault=False,
    ),
    Rule(
        "no-reading",
        ("no_current_reading",),
        "No average current was measured.",
        ("clamp",),
        says={"clamp": "Change what the notes say and capture again, or log a meter's average."},
    ),
    Rule(
        "speed-band-unset",
        ("speed_band_unset",),
        "The speed lies outside the usual {rpm_low:,.0f} to {rpm_high:,.0f} rpm of petrol pumps, which says "
        "nothing of this type.",
        done="Enter this type's usual speed, so that later readings are judged by it.",
        fault=False,
    ),
    Rule(
        "reduced-command",
        ("reduced_command",),
        "Read at a reduced command: it is held against this pump's readings at the same command only, not "
        "against its specification.",
        done="At the next capture, command full speed or duty as well, to hold it against specification.",
        fault=False,
    ),
    Rule(
        "no-specification",
        ("no_specification",),
        "Nothing looks odd, but no specification is known: the level itself can't be judged.",
        done="Find the specification by the part number; the next capture as planned.",
        unless=("own_level_known", "type_level_known"),
        fault=False,
    ),
    Rule(
        "tank-low",
        ("level_low",),
        "Nothing out of the ordinary; the tank is below a quarter, where the pump runs hot.",
        done="Refuel; the next capture as planned.",
        fault=False,
        mark="[W]",
    ),
    Rule(
        "healthy",
        (),
        "Nothing out of the ordinary.",
        done="The next capture as planned.",
        fault=False,
    ),
)
