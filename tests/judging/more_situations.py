"""More of what a workshop meets: several findings at once, one cause behind another, a check that ended it.

As in situations.py: common practice, no source [P]; each with a twin in which one figure is changed.
"""

from __future__ import annotations

from tests.judging.situations import (
    BOOK,
    CIRCUIT,
    DEAD,
    DELIVERY,
    FILTER,
    GAS,
    INLINE,
    LIFT,
    LOADED,
    NO_SPEC,
    NO_SPEED,
    NO_VOLTS,
    NONE,
    PRIMED,
    PWM,
    REPEAT,
    STARVED,
    TWO_SPEED,
    UNPROVEN,
    WATCH,
    WORN,
    _s,
)

POOR = {"fuel_pressure_kpa": 235, "delivery_l_min": 0.5}
ALL_GOOD = POOR | {
    "strainer": "good", "hose": "good", "regulator": "good", "filter_state": "good", "connector": "good",
    "fuel": "E10",
}  # fmt: skip
CLOGGED = {"mean_a": 4.0, "rpm": 6200, "strainer": "bad"}
NO_VOLTS_ARRIVE = {
    "reason": "road-call", "state": "prime", "supply_v": 3.1, "supply_v_at": "pump",
} | UNPROVEN | DEAD  # fmt: skip
GOOD_CONNECTOR = {"connector": "good"}
AT_HIGH = {"commanded": "high"}
AT_LOW = {"commanded": "low", "mean_a": 3.4, "rpm": 4200, "supply_v": 9.0}

MORE = (
    # a fault of the circuit goes before what follows from it
    _s("24 V, overcharged", {"mean_a": 2.9, "supply_v": 31.6}, "circuit-over-volts", CIRCUIT, "regulator",
       {"supply_v": 28.2}, "healthy", kind={"current_low_a": 1.8, "current_high_a": 3.5, "spec_at_v": 27}),
    _s("bad earth starves the rail", {"mean_a": 4.9, "rpm": 5100, "drop_ground_v": 0.36,
       "fuel_pressure_kpa": 290}, "circuit-drop", CIRCUIT, "ground", {"drop_ground_v": 0.05},
       "does-not-deliver", history=3),
    _s("volts by scan tool only", WORN | UNPROVEN | {"supply_v_at": "scan"}, "speed-down", CIRCUIT, "volts",
       {"supply_v_at": "pump"}, "wear-both-down", history=3),
    _s("road call, no volts arrive", NO_VOLTS_ARRIVE, "no-current", CIRCUIT, "connector", {"supply_v": 12.3,
       "connector": "good"}, "no-current", twin_action=REPEAT),
    _s("hot connector, slow pump", WORN | {"connector": "bad"}, "connector-bad", CIRCUIT, "renew",
       {"connector": "good"}, "wear-both-down", history=3),
    _s("stalled on prime", PRIMED | {"mean_a": 16.0, "rpm": None, "ripple_pct": 0.5, "supply_v": 10.1},
       "stalled", BOOK, "switch off", {"mean_a": 6.0, "ripple_pct": 7, "rpm": 3900},
       "circuit-low-volts-primed", history=2),
    _s("seized at low volts", {"mean_a": 8.2, "rpm": None, "ripple_pct": 0.6, "supply_v": 6.4}, "stalled",
       BOOK, "switch off", {"ripple_pct": 8, "rpm": 2300}, "circuit-low-volts"),
    _s("the meter stood across the pump", {"drop_supply_v": 13.4}, "drops-impossible", CIRCUIT, "points",
       {"drop_supply_v": 0.9}, "circuit-drop"),
    # does it deliver
    _s("nothing beside the pump left", (POOR, ALL_GOOD), "does-not-deliver", BOOK, "pump", {"regulator":
       "bad"}, "hose-or-regulator-bad", kind={"fuel": "petrol"}),
    _s("low tank, low pressure", {"mean_a": 4.9, "rpm": 6100, "fuel_level_pct": 10, "fuel_pressure_kpa": 285,
       "delivery_l_min": 0.7}, "does-not-deliver", DELIVERY, "refuel", {"fuel_level_pct": 60},
       "does-not-deliver", twin_action=FILTER),
    _s("petrol in diesel", {"mean_a": 2.9, "fuel": "petrol"}, "fuel-wrong", DELIVERY, "drain", {"fuel":
       "B7"}, "healthy", kind=LIFT),
    _s("free flow fine, half the pressure", {"fuel_pressure_kpa": 180, "delivery_l_min": 2.4, "delivery_at":
       "free"}, "does-not-deliver", FILTER, "pressure", {"fuel_pressure_kpa": 378}, "healthy"),
    _s("blocked after the gauge", {"mean_a": 8.0, "rpm": 5000, "fuel_pressure_kpa": 520}, "pressure-high",
       DELIVERY, "return|filter", {"fuel_pressure_kpa": 382}, "average-above", kind=INLINE),
    _s("gas flows little by design", {"mean_a": 8.2, "delivery_l_min": 0.6, "fuel_pressure_kpa": 905},
       "healthy", NONE, "", {"kind": {"fuel": "petrol"}}, "delivers-little", kind=GAS),
    _s("slow, but does its work", {"rpm": 3250, "mean_a": 5.2, "fuel_pressure_kpa": 380, "delivery_l_min":
       1.9}, "slow-but-delivers", WATCH, "usual speed", {"delivery_l_min": None, "fuel_pressure_kpa": None},
       "speed-low-usual"),
    _s("cranks, no start, no pressure", PRIMED | {"reason": "complaint", "fuel_pressure_kpa": 5},
       "does-not-deliver", FILTER, "strainer", {"fuel_pressure_kpa": 378}, "complaint-open"),
    _s("strainer renewed and back", (CLOGGED, {"reason": "follow-up"}), "healthy", NONE, "", {"services": ()},
       "filter-or-strainer-bad", history=3, services=({"done_on": "2026-10-01", "work": "strainer"},)),
    # like with like
    _s("pressure explains the amps", {"mean_a": 6.0, "rpm": 5570, "fuel_pressure_kpa": 428}, "healthy", NONE,
       "", {"fuel_pressure_kpa": 380}, "current-changed-speed-same", history=3),
    _s("on E85 for once", {"mean_a": 6.1, "rpm": 5450, "fuel": "E85"}, "healthy", NONE, "", {"fuel": "E10"},
       "current-up-speed-down", history=3, kind={"fuel": "flex"}),
    _s("under load, not at idle", {"state": "loaded", "mean_a": 6.3, "rpm": 5350}, "healthy", NONE, "",
       {"state": "idle"}, "current-up-speed-down", history=3),
    _s("another duty", ({"mean_a": 1.9, "duty_pct": 40} | NO_SPEED | NO_VOLTS,), "reduced-command", NONE,
       "duty", {"duty_pct": 60}, "average-down", kind=PWM, history=3),
    _s("low speed, as always", (AT_LOW, AT_LOW, AT_LOW), "reduced-command", NONE, "full", {"mean_a": 2.6},
       "current-changed-speed-same", kind=TWO_SPEED),
    _s("worn at high speed, twice", (AT_HIGH | WORN, AT_HIGH | WORN | GOOD_CONNECTOR), "wear-both-down", BOOK,
       "brush",
       {"commanded": "low"}, "wear-both-down", kind=TWO_SPEED, history=3, twin_action=REPEAT),
    _s("slower than at high speed, command untold", WORN, "speed-command-unknown", REPEAT, "command",
       {"commanded": "high"}, "wear-both-down", kind=TWO_SPEED, history=3),
    _s("brushless shows no ripple rule", {"ripple_pct": 24, "rpm": None}, "healthy", NONE, "", {"kind":
       {"motor": "brushed"}}, "ripple-high", kind={"motor": "brushless"}),
    _s("own level without specification", {"mean_a": 4.4} | NO_SPEED | NO_VOLTS, "average-down", CIRCUIT,
       "volts", {"mean_a": 5.3}, "healthy", kind=NO_SPEC, history=3),
    _s("another load on the wire", {"mean_a": 9.0, "rpm": 5690}, "current-changed-speed-same", REPEAT,
       "own wire", {"rpm": 4700}, "average-above", history=3),
    _s("low volts, and where they are lost", {"mean_a": 4.2, "supply_v": 9.1, "drop_supply_v": 2.6},
       "circuit-low-volts", CIRCUIT, "mend the supply side", {"supply_v": 13.1}, "circuit-drop"),
    _s("much ethanol in a pump for little", {"fuel": "E85"}, "fuel-wrong", DELIVERY, "kind", {"kind": {"fuel":
       "flex"}}, "healthy", kind={"fuel": "E10"}),
    _s("neither pressure nor volume", {"fuel_pressure_kpa": 90, "delivery_l_min": 0.2, "delivery_at":
       "pressure"}, "does-not-deliver", FILTER, "are too low", {"fuel_pressure_kpa": 380}, "delivers-little"),
    # a second finding that the first does not explain
    _s("ripple stepped up, volts low", {"mean_a": 4.5, "rpm": 4500, "ripple_pct": 41, "supply_v": 11.1},
       "circuit-low-volts", CIRCUIT, "ripple again before it leaves", {"supply_v": 13.6}, "ripple-jumped",
       history=3),
    _s("ripple no pump shows, bad earth", {"ripple_pct": 58, "drop_ground_v": 0.5}, "circuit-drop", CIRCUIT,
       "Besides: Ripple", {"drop_ground_v": 0.05}, "ripple-very-high"),
    _s("pressure far above, bad earth", {"mean_a": 7.0, "rpm": 4800, "drop_ground_v": 0.5,
       "fuel_pressure_kpa": 590}, "circuit-drop", CIRCUIT, "Besides: Pressure .* regulator and return",
       {"drop_ground_v": 0.04}, "pressure-high", history=3),
    _s("strainer bad, and the earth", {"strainer": "bad", "drop_ground_v": 0.5}, "circuit-drop", CIRCUIT,
       "renew what was found bad", {"drop_ground_v": 0.04}, "filter-or-strainer-bad"),
    _s("low volts leave half the pressure unexplained", {"mean_a": 4.6, "rpm": 4900, "supply_v": 11.6,
       "fuel_pressure_kpa": 150}, "circuit-low-volts", CIRCUIT, "Besides: .*150 kPa of 380", {"supply_v":
       13.6}, "does-not-deliver"),
    _s("cut off, and no pressure", {"mean_a": 54.0, "fuel_pressure_kpa": 60}, "probe-factor", REPEAT,
       "Besides: .* does not deliver", {"mean_a": 5.4}, "does-not-deliver"),
    _s("ripple at the book's end on a road call", {"reason": "road-call", "ripple_pct": 18}, "ripple-high",
       WATCH, "retest hot", {"ripple_pct": 9}, "complaint-open"),
    # what no pump shows
    _s("speed told double", {"rpm": 11_400}, "speed-doubted", REPEAT, "segments", {"rpm": 5900}, "healthy",
       history=3),
    _s("speed told half", {"rpm": 2850}, "speed-doubted", REPEAT, "segments", {"mean_a": 4.6},
       "wear-both-down", history=3),
    _s("revolutions a second for a minute's", {"rpm": 97}, "speed-doubted", REPEAT, "told wrong",
       {"rpm": 4300}, "wear-both-down", history=3),
    _s("speed up by a third, current as it was", {"rpm": 7600}, "speed-doubted", REPEAT, "volts",
       {"mean_a": 4.0, "rpm": 6500}, "average-below", history=3),
    # running dry, and ripple in another engine state
    _s("runs dry", {"mean_a": 0.9, "rpm": 7600, "ripple_pct": 90}, "runs-dry", FILTER, "no fuel",
       {"rpm": 5600, "ripple_pct": 40}, "average-below", history=3),
    _s("runs dry, first seen", {"mean_a": 1.1, "rpm": 8000, "ripple_pct": 48, "fuel_level_pct": None},
       "runs-dry", DELIVERY, "switch off", {"rpm": 6500}, "average-very-low"),
    _s("starved, drops untold: too fast for a weak supply", {"mean_a": 3.7, "rpm": 6300} | UNPROVEN,
       "average-below", DELIVERY, "delivery", {"rpm": 5700}, "average-below", history=3,
       twin_action=CIRCUIT),
    _s("drops on little current", {"mean_a": 0.9, "rpm": 5600}, "average-below", CIRCUIT, "test load",
       {"mean_a": 1.9}, "average-very-low", history=3),
    _s("ripple five times its own, on prime", PRIMED | {"mean_a": 5.1, "rpm": 4900, "ripple_pct": 41},
       "ripple-jumped", REPEAT, "before it leaves", {"ripple_pct": 17}, "ripple-high", history=3),
    _s("so little may be none", {"mean_a": 0.31, "zero_checked": "no"} | NO_SPEED, "no-current-unproven",
       REPEAT, "zero the clamp", {"mean_a": 2.5}, "average-below", history=3),
    _s("pulsed, duty untold, no pressure", {"mean_a": 3.1, "fuel_pressure_kpa": 0}, "does-not-deliver",
       FILTER, "no duty or speed", {"fuel_pressure_kpa": 300}, "duty-unknown", kind=PWM),
    _s("two speeds, none told, no delivery", {"mean_a": 3.7, "rpm": 4100, "delivery_l_min": 0},
       "does-not-deliver", FILTER, "commanded", {"delivery_l_min": 1.1}, "speed-command-unknown",
       kind=TWO_SPEED, history=3),
    _s("a little delivery on 12.7 V", {"delivery_l_min": 0.4, "supply_v": 12.7}, "does-not-deliver", FILTER,
       "strainer", {"delivery_l_min": 1.4}, "does-not-deliver-volts-unknown",
       kind={"min_delivery_l_min": 1.5}),
    # a follow-up has what the visit before measured
    _s("starved, then measured bit by bit", (STARVED, STARVED | NO_VOLTS | {"reason": "follow-up",
       "delivery_l_min": 0.9}, STARVED | NO_VOLTS | {"reason": "follow-up"}), "does-not-deliver", FILTER,
       "strainer", {"delivery_l_min": 2.1, "fuel_pressure_kpa": 379}, "low-current-but-delivers", history=3,
       kind={"min_delivery_l_min": 1.5}),
    _s("volume alone is not pressure", {"mean_a": 4.2, "rpm": 6050, "delivery_l_min": 2.0},
       "low-current-but-delivers", DELIVERY, "pressure", {"fuel_pressure_kpa": 250}, "does-not-deliver",
       history=3),
    _s("hardly any volts arrive", NO_VOLTS_ARRIVE | {"connector": "good"}, "no-current", CIRCUIT,
       "hardly any volts", {"supply_v": 12.3}, "no-current", twin_action=REPEAT),
    # what a check or a second look ended
    _s("worn once, then not reproduced", (WORN, {"reason": "follow-up", "check_result": "not_reproduced"}),
       "healthy", NONE, "", WORN | GOOD_CONNECTOR, "wear-both-down", history=3, twin_action=BOOK),
    _s("complaint with a cause to be seen", {"reason": "complaint", "mean_a": 3.6}, "average-below", DELIVERY,
       "delivery", {"mean_a": 5.3}, "complaint-open"),
    _s("filter renewed, good pressure, still loaded", (LOADED, LOADED | {"fuel_pressure_kpa": 382}),
       "current-up-speed-down", BOOK, "drag", {"fuel_pressure_kpa": None}, "current-up-speed-down",
       kind=INLINE, history=3, twin_action=DELIVERY, services=({"done_on": "2026-10-05", "work": "filter"},)),
    _s("high end, and the pressure is right", ({"mean_a": 6.5}, {"mean_a": 6.5, "fuel_pressure_kpa": 381,
       "filter_state": "good"}), "average-near-high", NONE, "high end", {"fuel_pressure_kpa": None},
       "average-near-high", twin_action=DELIVERY),
    _s("new pump draws too much", {"reason": "after-repair", "mean_a": 8.2, "rpm": 5200}, "average-above",
       DELIVERY, "pressure", {"mean_a": 5.3}, "healthy", run_km=0),
    _s("broke down, good since", ({}, {}), "healthy", NONE, "", {"breakdowns": ({"happened_on": "2026-11-20",
       "pump_confirmed": "yes"},)}, "broke-down", breakdowns=({"happened_on": "2026-10-01",
       "pump_confirmed": "yes"},)),
)  # fmt: skip
