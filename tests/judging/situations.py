"""Situations a workshop meets, and what a master technician would make of each: the table behind the rules.

Common practice, no source [P], where the rule carries no other mark. Each has a twin in which one figure is
changed and the answer must change. Figures are ours.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

# A petrol pump of an ordinary car, healthy: 4.4 to 6.6 A at 13.5 V and 380 kPa.
PUMP = {
    "motor": "brushed", "supply": "direct", "segments": 8, "current_low_a": 4.4, "current_high_a": 6.6,
    "spec_at_v": 13.5, "spec_at_kpa": 380, "rated_pressure_kpa": 380, "filter": "module",
}  # fmt: skip
GOOD = {
    "reason": "pm", "state": "idle", "zero_checked": "yes", "mean_a": 5.4, "rpm": 5700, "ripple_pct": 8,
    "supply_v": 13.7, "drop_supply_v": 0.22, "drop_ground_v": 0.04, "fuel_level_pct": 55,
}  # fmt: skip
UNPROVEN = {"drop_supply_v": None, "drop_ground_v": None}
NO_VOLTS = UNPROVEN | {"supply_v": None}
NO_SPEED = {"rpm": None, "ripple_pct": None}
INLINE = {"filter": "inline"}
PWM = {"supply": "pwm"}
TWO_SPEED = {"supply": "two-speed"}
NO_SPEC: dict[str, Any] = dict.fromkeys(
    ("current_low_a", "current_high_a", "spec_at_v", "spec_at_kpa", "rated_pressure_kpa")
)
LIFT = {
    "fuel": "diesel", "current_low_a": 1.8, "current_high_a": 4, "spec_at_kpa": 45, "rated_pressure_kpa": 45,
}  # fmt: skip
GAS = {
    "current_low_a": 6, "current_high_a": 11, "spec_at_kpa": 900, "rated_pressure_kpa": 900, "fuel": "LPG",
}  # fmt: skip


@dataclass(frozen=True)
class Situation:
    """`history` good readings, then `visits`, each GOOD but for its changes, on a pump of PUMP but for
    `kind`.

    says: a word that must stand in the finding or the next test. twin: changes to the last visit (or, under
    "kind", "services", "breakdowns", "history", of those) after which `twin_finding` must come out.
    """

    name: str
    visits: tuple[dict[str, Any], ...]
    finding: str
    action: str
    says: str
    twin: dict[str, Any]
    twin_finding: str
    kind: dict[str, Any] = field(default_factory=dict)
    history: int = 0
    services: tuple[dict[str, Any], ...] = ()
    breakdowns: tuple[dict[str, Any], ...] = ()
    run_km: float = 60_000.0
    twin_action: str = ""


def _s(
    name: str, visits: Any, finding: str, action: str, says: str, twin: Any, twin_finding: str, **more: Any
) -> Situation:
    visits = (visits,) if isinstance(visits, dict) else tuple(visits)
    return Situation(name, visits, finding, action, says, twin, twin_finding, **more)


BOOK, WATCH, NONE = "book replacement", "shorten interval", "none"
REPEAT, CIRCUIT, FILTER, DELIVERY = (
    "repeat capture", "check circuit", "check filter or strainer", "check delivery",
)  # fmt: skip
WORN = {"mean_a": 5.1, "rpm": 4900}
STARVED = {"mean_a": 4.6, "rpm": 6150}
LOADED = {"mean_a": 6.3, "rpm": 5350}
DEAD = {"mean_a": 0.02} | NO_SPEED
PRIMED = {"state": "prime", "supply_v": 12.3}
PROVEN = {"supply_v_at": "pump", "connector": "good"}
NO_COMPLAINT = {
    "pressure_hold_kpa": 350,
    "delivery_l_min": 1.6,
    "connector": "good",
    "fuel_pressure_kpa": 378,
}

SITUATIONS = (
    # readings that are none
    _s("tenfold", {"mean_a": 54.0}, "probe-factor", REPEAT, "factor", {"mean_a": 5.5}, "healthy"),
    _s("tenth", {"mean_a": 0.53}, "probe-factor", REPEAT, "range", {"mean_a": 5.3}, "healthy", history=3),
    _s("nothing, running", GOOD | DEAD, "no-current-running", REPEAT, "fuse", {"state": "prime"},
       "no-current"),
    _s("nothing by meter", {"meter_a": 0.0, "mean_a": None} | NO_SPEED, "no-current-running", REPEAT,
       "wire", {"meter_a": 5.2}, "healthy"),
    _s("nothing on prime", PRIMED | DEAD, "no-current", CIRCUIT, "test load", {"mean_a": 5.2}, "healthy"),
    _s("nothing, and no volts", PRIMED | DEAD | {"supply_v": 0.2}, "no-current", CIRCUIT, "relay",
       {"supply_v": 12.3, "mean_a": 5.2}, "healthy"),
    _s("nothing, proven once", PRIMED | DEAD | PROVEN, "no-current", REPEAT, "second look", {"connector":
       None}, "no-current", twin_action=CIRCUIT),
    _s("nothing, proven twice", (PRIMED | DEAD | PROVEN, PRIMED | DEAD | PROVEN), "no-current", BOOK,
       "failed", {"mean_a": 5.2}, "healthy"),
    _s("seized", {"mean_a": 17.0, "rpm": None, "ripple_pct": 0.8, "supply_v": 11.4}, "stalled", BOOK,
       "switch off", {"ripple_pct": 9, "rpm": 2900, "supply_v": 13.4}, "average-above"),
    _s("far above on a meter", {"meter_a": 16.0, "mean_a": None} | NO_SPEED, "far-above-no-ripple", REPEAT,
       "switch off", {"meter_a": 8.0}, "average-above"),
    _s("far above, brushless", {"mean_a": 16.0, "rpm": None, "ripple_pct": 0.9}, "far-above-no-ripple",
       REPEAT, "brushless", {"kind": {"motor": "brushed"}}, "stalled", kind={"motor": "brushless"}),
    # the circuit
    _s("leads swapped", {"drop_supply_v": -0.6}, "leads-swapped", CIRCUIT, "leads", {"drop_supply_v": 0.3},
       "healthy"),
    _s("overcharged", {"supply_v": 16.3}, "circuit-over-volts", CIRCUIT, "charging", {"supply_v": 14.4},
       "healthy"),
    _s("undercharged, amps fine", {"supply_v": 10.6} | UNPROVEN, "circuit-low-volts", CIRCUIT, "battery",
       {"supply_v": 13.3}, "healthy"),
    _s("11.8 V, and nobody says whether it ran", {"state": None, "supply_v": 11.8} | UNPROVEN,
       "circuit-low-volts", CIRCUIT, "say whether", {"state": "prime"}, "healthy"),
    _s("flat battery on prime", PRIMED | {"supply_v": 11.3}, "circuit-low-volts-primed", CIRCUIT, "battery",
       {"supply_v": 12.1}, "healthy"),
    _s("24 V, half charged", {"mean_a": 2.3, "supply_v": 22.8}, "circuit-low-volts", CIRCUIT, "charging",
       {"supply_v": 27.2}, "healthy", kind={"current_low_a": 1.8, "current_high_a": 3.5, "spec_at_v": 27}),
    _s("bad earth", {"drop_ground_v": 0.45}, "circuit-drop", CIRCUIT, "ground", {"drop_ground_v": 0.08},
       "healthy"),
    _s("small drop on little current", {"mean_a": 2.4, "drop_supply_v": 0.45}, "circuit-drop", CIRCUIT,
       "supply", {"drop_supply_v": 0.2}, "average-below"),
    _s("drop of a heavy load only", LOADED | {"mean_a": 9.8, "drop_supply_v": 0.6}, "average-above",
       DELIVERY, "pressure", {"drop_supply_v": 1.1}, "circuit-drop"),
    _s("connector burnt", {"connector": "bad"}, "connector-bad", CIRCUIT, "renew", {"connector": "good"},
       "healthy"),
    _s("volts at the battery prove nothing", {"mean_a": 3.9, "supply_v_at": "battery"}, "average-below",
       CIRCUIT, "volts", {"supply_v_at": "pump"}, "average-below", twin_action=DELIVERY),
    # does it deliver
    _s("strainer found clogged", {"strainer": "bad"}, "filter-or-strainer-bad", FILTER, "renew",
       {"services": ({"done_on": "2026-11-20", "work": "strainer"},)}, "healthy"),
    _s("hose found split", {"hose": "bad"}, "hose-or-regulator-bad", DELIVERY, "hose", {"services":
       ({"done_on": "2026-11-20", "work": "hose"},)}, "healthy"),
    _s("diesel in petrol", {"fuel": "diesel"}, "fuel-wrong", DELIVERY, "kind", {"fuel": "E10"}, "healthy",
       kind={"fuel": "petrol"}),
    _s("pulsed, duty untold", {"mean_a": 3.1}, "duty-unknown", REPEAT, "duty", {"duty_pct": 60},
       "reduced-command", kind=PWM),
    _s("two speeds, none told", {"mean_a": 3.7, "rpm": 4100} | NO_VOLTS, "speed-command-unknown", REPEAT,
       "commanded", {"commanded": "low"}, "reduced-command", kind=TWO_SPEED, history=3),
    _s("regulator stuck", {"fuel_pressure_kpa": 560, "mean_a": 7.1}, "pressure-high", DELIVERY, "regulator",
       {"fuel_pressure_kpa": 385, "mean_a": 5.5}, "healthy"),
    _s("half the pressure", {"fuel_pressure_kpa": 210}, "does-not-deliver", FILTER, "pressure",
       {"fuel_pressure_kpa": 372}, "healthy"),
    _s("half the pressure, level untold", {"fuel_pressure_kpa": 210, "fuel_level_pct": None},
       "does-not-deliver", DELIVERY, "level", {"fuel_level_pct": 60}, "does-not-deliver",
       twin_action=FILTER),
    _s("held back after the pump", {"fuel_pressure_kpa": 290, "mean_a": 7.0, "rpm": 5000}, "does-not-deliver",
       DELIVERY, "kink", {"mean_a": 4.5, "rpm": 6000}, "does-not-deliver", twin_action=FILTER, history=3),
    _s("pressure let off", {"fuel_pressure_kpa": 210, "delivery_l_min": 2.2}, "does-not-deliver", DELIVERY,
       "regulator", {"delivery_l_min": 0.5}, "does-not-deliver", twin_action=FILTER),
    _s("half the pressure, volts untold", {"fuel_pressure_kpa": 210} | NO_VOLTS,
       "does-not-deliver-volts-unknown", CIRCUIT, "volts", {"supply_v": 13.6}, "does-not-deliver"),
    _s("a little short on 12.4 V", {"fuel_pressure_kpa": 290, "supply_v": 12.4},
       "does-not-deliver-volts-unknown", CIRCUIT, "volts", {"supply_v": 13.2}, "does-not-deliver"),
    _s("half the pressure on 12.4 V, which explain a quarter", {"fuel_pressure_kpa": 210, "supply_v": 12.4},
       "does-not-deliver", FILTER, "strainer", {"fuel_pressure_kpa": 285}, "does-not-deliver-volts-unknown"),
    _s("a trickle", {"delivery_l_min": 0.3}, "delivers-little", FILTER, "deliver", {"delivery_l_min": 1.7},
       "healthy"),
    _s("below the type's own minimum", {"delivery_l_min": 1.4}, "does-not-deliver", FILTER, "1.4 L/min",
       {"delivery_l_min": 1.9}, "healthy", kind={"min_delivery_l_min": 1.8}),
    _s("diesel lift pump trickles by design", {"mean_a": 2.9, "delivery_l_min": 0.7, "rpm": 2900},
       "speed-band-unset", NONE, "usual speed", {"fuel_pressure_kpa": 20}, "does-not-deliver", kind=LIFT),
    _s("gas pump", {"mean_a": 8.2, "fuel_pressure_kpa": 905}, "healthy", NONE, "", {"mean_a": 12.5},
       "average-above", kind=GAS),
    _s("free flow proves nothing", {"mean_a": 3.9, "delivery_l_min": 2.1, "delivery_at": "free"},
       "average-below", DELIVERY, "rated pressure", {"delivery_at": "pressure"},
       "low-current-but-delivers"),
    _s("air after a repair", {"reason": "after-repair", "mean_a": 3.8, "rpm": 7900}, "air-after-repair",
       REPEAT, "air", {"rpm": 5900}, "new-pump-below", run_km=0),
    _s("new pump, circuit unproven", {"reason": "after-repair", "mean_a": 3.8} | UNPROVEN, "new-pump-below",
       CIRCUIT, "drops", {"mean_a": 5.3}, "healthy", run_km=0),
    _s("starved on a low tank", {"mean_a": 2.9, "rpm": 6900, "fuel_level_pct": 6}, "starved-low-tank",
       DELIVERY, "refuel", {"fuel_level_pct": 55}, "runs-dry", history=3),
    _s("weak amps, good work", {"mean_a": 3.9, "fuel_pressure_kpa": 379, "delivery_l_min": 2},
       "low-current-but-delivers", REPEAT, "specification", {"delivery_l_min": 0.4}, "delivers-little"),
    _s("a fast type", {"rpm": 10_600, "delivery_l_min": 2.2}, "fast-but-delivers", NONE, "usual speed",
       {"delivery_l_min": None}, "speed-high-poor-delivery"),
    _s("races, delivery untold", {"rpm": 10_800, "mean_a": 4.9}, "speed-high-poor-delivery", DELIVERY,
       "moves fuel", {"delivery_l_min": 2.1}, "fast-but-delivers"),
    # own baseline, specification, the usual
    _s("ripple steps up", {"ripple_pct": 31}, "ripple-jumped", REPEAT, "bar", {"ripple_pct": 12}, "healthy",
       history=3),
    _s("ripple stepped up and stayed", ({"ripple_pct": 31}, {"ripple_pct": 33}), "ripple-jumped", BOOK,
       "restart", {"ripple_pct": 9}, "healthy", history=3),
    _s("ripple grows slowly", tuple({"ripple_pct": p} for p in (10, 13, 16, 19)), "ripple-high", WATCH,
       "condemns", {"ripple_pct": 31}, "ripple-jumped", history=3),
    _s("a shorted coil", {"mean_a": 6.5, "rpm": 6500, "ripple_pct": 66}, "ripple-jumped", REPEAT, "coil",
       {"ripple_pct": 8}, "average-up", history=3),
    _s("far too little on a proven circuit", {"mean_a": 1.9}, "average-very-low", DELIVERY, "full command",
       {"mean_a": 3.6}, "average-below"),
    _s("worn once", WORN, "wear-both-down", REPEAT, "brush", {"rpm": 5650, "mean_a": 5.3}, "healthy",
       history=3),
    _s("worn twice", (WORN, WORN | {"connector": "good"}), "wear-both-down", BOOK, "brush", {"rpm": 5650},
       "healthy", history=3),
    _s("worn, one reading before", (WORN,), "healthy", NONE, "", {"history": 2}, "wear-both-down",
       history=1),
    _s("slow, volts untold", WORN | NO_VOLTS, "speed-down", CIRCUIT, "volts", {"supply_v": 13.7},
       "wear-both-down", history=3),
    _s("below, circuit unproven", {"mean_a": 3.8} | UNPROVEN, "average-below", CIRCUIT, "both drops",
       {"drop_supply_v": 0.2, "drop_ground_v": 0.05}, "average-below", twin_action=DELIVERY),
    _s("only a low end known", {"mean_a": 3.5}, "average-below", DELIVERY, "delivery", {"mean_a": 4.9},
       "healthy", kind={"current_high_a": None}),
    _s("only a high end known", {"mean_a": 8.4}, "average-above", DELIVERY, "pressure", {"mean_a": 6.0},
       "healthy", kind={"current_low_a": None}),
    _s("above, filter can be changed", {"mean_a": 8.0}, "average-above", FILTER, "filter", {"kind":
       {"filter": "module"}}, "average-above", kind=INLINE, twin_action=DELIVERY),
    _s("starved", STARVED, "current-down-speed-up", DELIVERY, "starvation", {"mean_a": 5.3, "rpm": 5750},
       "healthy", history=3),
    _s("starved, level untold", STARVED | {"fuel_level_pct": None}, "current-down-speed-up", DELIVERY,
       "level", {"fuel_level_pct": 12}, "starved-low-tank", history=3),
    _s("vapour", STARVED | {"fuel_temp_c": 58}, "current-down-speed-up", DELIVERY, "hot fuel", {"mean_a":
       5.3}, "healthy", history=3),
    _s("loaded", LOADED, "current-up-speed-down", DELIVERY, "pressure", {"kind": INLINE},
       "current-up-speed-down", history=3, twin_action=FILTER),
    _s("dragging: loaded twice at good pressure", (LOADED, LOADED | {"fuel_pressure_kpa": 381,
       "fuel": "E10"}),
       "current-up-speed-down", BOOK, "drag", {"fuel_pressure_kpa": None}, "current-up-speed-down",
       history=3, twin_action=DELIVERY),
    _s("filter changed, still loaded", (LOADED, LOADED), "current-up-speed-down", DELIVERY, "pressure",
       {"services": ()}, "current-up-speed-down", kind=INLINE, history=3, twin_action=FILTER,
       services=({"done_on": "2026-11-01", "work": "filter"},)),
    _s("slower than its type", {"rpm": 4200}, "speed-low", REPEAT, "type", {"rpm": 5200}, "healthy",
       kind={"rpm_low": 5000, "rpm_high": 7000}),
    _s("slower than most", {"rpm": 3200}, "speed-low-usual", REPEAT, "3,400", {"rpm": 3600}, "healthy"),
    _s("amps moved, speed not", {"mean_a": 4.75}, "current-changed-speed-same", REPEAT, "clamp", {"rpm":
       4900}, "wear-both-down", history=3),
    _s("amps down, no speed", {"mean_a": 4.75} | NO_SPEED | UNPROVEN, "average-down", CIRCUIT, "drops",
       {"mean_a": 5.3}, "healthy", history=3),
    _s("amps up, no speed", {"mean_a": 6.2} | NO_SPEED, "average-up", DELIVERY, "pressure", {"mean_a": 5.5},
       "healthy", history=3),
    _s("equal duty, less", ({"mean_a": 2.2, "duty_pct": 58} | NO_SPEED | NO_VOLTS,), "average-down",
       CIRCUIT, "volts", {"mean_a": 2.75}, "reduced-command", kind=PWM, history=3),
    _s("no specification, much", {"mean_a": 12.5}, "average-odd-high", DELIVERY, "find the specification",
       {"mean_a": 6.0}, "no-specification", kind=NO_SPEC),
    _s("no specification, little", {"mean_a": 1.3} | UNPROVEN, "average-odd-low", CIRCUIT,
       "find the specification", {"mean_a": 3.0}, "no-specification", kind=NO_SPEC),
    # leanings
    _s("ripple no pump shows", {"ripple_pct": 58}, "ripple-very-high", REPEAT, "coil", {"ripple_pct": 30},
       "ripple-high"),
    _s("ripple over the book", {"ripple_pct": 18}, "ripple-high", WATCH, "condemns", {"ripple_pct": 13},
       "healthy"),
    _s("ripple over the book, filter to change", {"ripple_pct": 18}, "ripple-high", FILTER, "filter",
       {"kind": {"ripple_limit_pct": 25}}, "healthy", kind=INLINE),
    _s("a pump always at 18 %", {"ripple_pct": 18}, "healthy", NONE, "", {"ripple_pct": 24}, "ripple-high",
       history=3),
    _s("ripple and slower", {"ripple_pct": 15.5, "rpm": 5400, "mean_a": 5.3}, "ripple-high-speed-down",
       REPEAT, "sparks", {"rpm": 5690}, "ripple-high", history=3),
    _s("outside by less than the clamp", {"mean_a": 4.3}, "average-undecided", REPEAT, "zero", {"mean_a":
       4.0}, "average-below"),
    _s("zero never checked", {"mean_a": 4.1, "zero_checked": "no"}, "average-undecided", REPEAT, "zero",
       {"zero_checked": "yes"}, "average-below"),
    _s("outside by less than the clamp, again zeroed", ({"mean_a": 4.3}, {"mean_a": 4.3}),
       "average-undecided", NONE, "known current", {"zero_checked": "no"}, "average-undecided",
       twin_action=REPEAT),
    _s("a hair below on a low tank", {"mean_a": 4.3, "fuel_level_pct": 6}, "starved-low-tank", DELIVERY,
       "refuel", {"fuel_level_pct": 50}, "average-undecided"),
    _s("near the low end on a low tank", {"mean_a": 4.5, "fuel_level_pct": 4}, "starved-low-tank", DELIVERY,
       "refuel", {"mean_a": 5.3}, "tank-low"),
    _s("not charging", {"supply_v": 12.2, "rpm": 5200, "mean_a": 5.2}, "charging-low", CIRCUIT, "charging",
       {"supply_v": 13.4, "rpm": 5600}, "healthy", history=3),
    _s("not charging, by the battery", {"supply_v": 12.4, "supply_v_at": "battery"} | UNPROVEN,
       "charging-low", CIRCUIT, "charging", {"state": "prime"}, "healthy"),
    _s("volts at the pump fell", {"supply_v": 12.5, "rpm": 5250, "mean_a": 5.25}, "supply-fell", CIRCUIT,
       "charging", {"supply_v": 13.4, "rpm": 5600}, "healthy", history=3),
    _s("pressure runs away", {"pressure_hold_kpa": 90}, "pressure-not-held", DELIVERY, "leak",
       {"pressure_hold_kpa": 340}, "healthy"),
    _s("complaint not found", {"reason": "complaint"}, "complaint-open", DELIVERY, "hot", {"reason": "pm"},
       "healthy"),
    _s("complaint, months later", ({"reason": "road-call"}, {}), "complaint-open", DELIVERY, "reproduced",
       NO_COMPLAINT, "healthy"),
    _s("complaint, held", {"reason": "complaint", "pressure_hold_kpa": 350}, "complaint-open", DELIVERY,
       "delivery", {"delivery_l_min": 1.6}, "complaint-open", twin_action=CIRCUIT),
    _s("complaint closed without a word", ({"reason": "complaint"}, {"reason": "follow-up", "closes":
       "{unit}/0"}), "complaint-open", DELIVERY, "complaint", {"note": "relay of the customer's alarm"},
       "healthy"),
    _s("complaint, its fault gone since the fuel was renewed", ({"reason": "complaint", "mean_a": 6.4, "rpm":
       5500}, {"reason": "after-repair"}), "healthy", NONE, "", {"services": ()}, "complaint-open", history=3,
       services=({"done_on": "2026-11-20", "work": "fuel"},)),
    _s("complaint, cause named", ({"reason": "complaint"}, {"reason": "follow-up", "check_result":
       "circuit"}), "healthy", NONE, "", {"check_result": None}, "complaint-open"),
    _s("near the high end", {"mean_a": 6.5}, "average-near-high", DELIVERY, "pressure", {"mean_a": 6.0},
       "healthy"),
    _s("near the low end", {"mean_a": 4.55}, "average-near-low", NONE, "lean", {"mean_a": 5.0}, "healthy"),
    _s("low speed on command", {"mean_a": 3.5, "rpm": 4000, "supply_v": 8.9, "commanded": "low"},
       "reduced-command", NONE, "high|full", {"commanded": "high"}, "circuit-low-volts", kind=TWO_SPEED),
    _s("no specification, usual", {}, "no-specification", NONE, "specification", {"mean_a": 10.6},
       "average-odd-high", kind=NO_SPEC),
    _s("tank nearly empty", {"fuel_level_pct": 9}, "tank-low", NONE, "refuel", {"fuel_level_pct": 40},
       "healthy"),
    _s("healthy", {}, "healthy", NONE, "", {"mean_a": 3.0}, "average-below", history=3),
    _s("brushless", NO_SPEED, "healthy", NONE, "", {"mean_a": 7.4}, "average-above", kind={"motor":
       "brushless"}),
    _s("meter only", {"meter_a": 5.3, "mean_a": None} | NO_SPEED | NO_VOLTS, "healthy", NONE, "",
       {"meter_a": 3.6}, "average-below"),
    _s("prime is not idle", PRIMED | {"mean_a": 5.05, "rpm": 4850}, "healthy", NONE, "", {"state": "idle",
       "supply_v": 13.7}, "wear-both-down", history=3),
    _s("warm fuel", {"mean_a": 5.3, "rpm": 5480, "fuel_temp_c": 52}, "healthy", NONE, "", {"rpm": 4900},
       "wear-both-down", history=3),
    _s("broke down", {}, "broke-down", BOOK, "broke down", {"breakdowns": ( {"happened_on": "2026-11-20",
       "pump_confirmed": "no"},)}, "healthy", history=1, breakdowns=({"happened_on": "2026-11-20",
       "pump_confirmed": "yes"},)),
)  # fmt: skip
