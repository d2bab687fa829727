"""Trade rules on average, speed and ripple against own baseline, specification, type and the usual."""

from __future__ import annotations

from analytics.judging.rule import BOOK, WATCH, Rule

# A type is taken to have its filter in the module where nobody says otherwise.
LOAD_SAYS = {
    "filter, built in": "Book a replacement, unless an outlet filter can be renewed by itself: renew that "
    "first, enter its type's filter as inline, and capture again.",
}

OWN: tuple[Rule, ...] = (
    Rule(
        "ripple-jumped",
        ("ripple_jumped",),
        "Ripple has stepped up from this pump's own level: commutator, a bar, a winding's coil, or "
        "brushes.{segment} "
        "Such a pump may not restart: decide before it leaves.",
        ("repeat", "filter"),
        end=BOOK,
        says={
            "repeat": "Zero the clamp, look at sparks and segments, and capture again before it leaves.",
        },
        family="ripple",
    ),
    Rule(
        "average-very-low",
        ("current_very_low", "supply_good", "drops_passed"),
        "The average is far below specification on proven supply and ground: the pump hardly works.",
        ("level", "delivery", "strainer", "hose", "regulator", "repeat", "filter"),
        end=BOOK,
        says={"delivery": "Make sure of full command, then measure delivery at rated pressure."},
        family="flow",
    ),
    Rule(
        "speed-high-poor-delivery",
        ("speed_high",),
        "The pump spins faster than {rpm_high:,.0f} rpm and nothing shows that it moves fuel.",
        ("delivery", "level", "strainer", "hose", "regulator", "filter", "repeat", "circuit"),
        end=BOOK,
        family="flow",
    ),
    Rule(
        "wear-both-down",
        ("speed_fell_far", "supply_good"),
        "The pump turns far slower than its own baseline on good volts, with no more current: brush or "
        "commutator "
        "wear, or an overheated connector at the tank.",
        ("repeat", "circuit", "connector"),
        end=BOOK,
        unless=("current_rose", "speed_doubtful"),
        says={
            "repeat": "Zero the clamp, feel the tank connector for heat, and capture again.",
            "connector, untold": "Book a replacement, unless the tank connector runs hot or loose: renew "
            "that first and capture again.",
        },
        family="wear",
    ),
    Rule(
        "average-below",
        ("current_below",),
        "The average is below specification: a supply or ground fault, or a starved or worn pump.",
        ("circuit", "level", "delivery", "strainer", "repeat", "filter"),
        end=BOOK,
        family="flow",
    ),
    Rule(
        "average-above",
        ("current_above",),
        "The average is above specification: a restriction, drag, wrong pressure or a shorted winding.",
        ("filter", "pressure", "repeat", "fuel", "circuit"),
        end=BOOK,
        unless=("motor_unmoved",),
        family="load",
        says=LOAD_SAYS,
    ),
    Rule(
        "speed-doubted",
        ("speed_doubtful",),
        "The speed is one that no pump turns at on its volts and this current, or about twice or half its "
        "own, or less, while the current stayed: the speed was likelier told wrong than turned.",
        ("repeat", "clamp"),
        end=WATCH,
        says={
            "repeat": "Make sure of the number of segments and of the volts at the pump, then capture again.",
            "clamp": "It stays: make sure which pump and how many segments are fitted, then capture again.",
        },
    ),
    Rule(
        "current-down-speed-up",
        ("current_fell_far", "speed_rose"),
        "Current is down and speed up against its own baseline: starvation, vapour{hot} or hydraulic wear. "
        "Low "
        "volts would slow it.",
        ("level", "delivery", "strainer", "repeat", "hose", "regulator", "circuit"),
        end=BOOK,
        says={"level": "Read the fuel level, then measure delivery and look at the strainer."},
        family="flow",
    ),
    Rule(
        "current-up-speed-down",
        ("current_rose", "speed_fell"),
        "Current is up and speed down against its own baseline: a restriction, pressure too high, "
        "the wrong fuel, or drag.",
        ("filter", "pressure", "repeat", "fuel", "circuit"),
        end=BOOK,
        family="load",
        says=LOAD_SAYS,
    ),
    Rule(
        "speed-down",
        ("speed_fell_far",),
        "The pump turns far slower than its own baseline: low volts first, then drag or brush wear.",
        ("circuit", "repeat", "connector"),
        end=BOOK,
        family="wear",
    ),
    Rule(
        "speed-low",
        ("speed_low",),
        "The pump turns slower than its type's {type_rpm_low:,.0f} rpm: low volts, drag or brush wear.",
        ("circuit", "filter", "repeat"),
        end=BOOK,
        family="wear",
    ),
    Rule(
        "slow-but-delivers",
        ("speed_low_usual", "delivers_well"),
        "The pump turns slower than the usual {rpm_low:,.0f} rpm and delivers: this type may simply be slow; "
        "but worn brushes deliver until they quit.",
        end=WATCH,
        done="Enter this type's usual speed, and capture at half the usual interval until it has a baseline.",
        fault=False,
    ),
    Rule(
        "speed-low-usual",
        ("speed_low_usual",),
        "The pump turns slower than the usual {rpm_low:,.0f} rpm, and its type has no band of its own: low "
        "volts, "
        "drag, brush wear, or a slow type.",
        ("circuit", "filter", "repeat"),
        end=WATCH,
        family="wear",
    ),
    Rule(
        "current-changed-speed-same",
        ("current_changed_far", "speed_same"),
        "The average has moved far from its own baseline while the speed has not: the clamp, another load on "
        "its wire, or the pressure, rather than the motor.",
        ("repeat", "pressure"),
        end=WATCH,
        says={
            "repeat": "Zero the clamp, or take another, on the pump's own wire, and capture again; then "
            "measure pressure."
        },
        family="clamp",
    ),
    Rule(
        "average-down",
        ("current_fell_far",),
        "The average is far below its own baseline: a supply or ground fault, starvation or wear.",
        ("circuit", "level", "delivery", "strainer", "repeat", "filter"),
        end=BOOK,
        family="flow",
    ),
    Rule(
        "average-up",
        ("current_rose_far",),
        "The average is far above its own baseline: a restriction, drag, wrong pressure or a shorted "
        "winding.",
        ("filter", "pressure", "repeat", "fuel", "circuit"),
        end=BOOK,
        family="load",
        says=LOAD_SAYS,
    ),
    Rule(
        "average-odd-high",
        ("odd_high",),
        "Above {usual_high:g} A, and no specification is known: more than most fuel pumps draw. Pressure, "
        "drag, a "
        "short, or the clamp.",
        ("pressure", "repeat", "circuit"),
        end=WATCH,
        says={"pressure": "Find the specification; check clamp factor and zero, then measure fuel pressure."},
        family="load",
        mark="[W]",
    ),
    Rule(
        "average-odd-low",
        ("odd_low",),
        "Below {usual_low:g} A, and no specification is known: less than most fuel pumps draw. Volts, "
        "starvation, "
        "or the clamp.",
        ("circuit", "level", "delivery", "repeat"),
        end=WATCH,
        says={
            "circuit": "Find the specification; check the clamp, then volts and both drops at the pump.",
            "delivery": "Find the specification; check the clamp's factor, then measure delivery.",
        },
        family="flow",
        mark="[W]",
    ),
    Rule(
        "average-unlike-type",
        ("current_unlike_type",),
        "No specification is known, and the average is far from the {type_a:.2f} A that pumps of this type "
        "draw.",
        ("circuit", "repeat"),
        end=WATCH,
        says={"circuit": "Make sure of pump type, clamp point and factor; then volts and both drops."},
    ),
)
