"""The trade rules: what a reading means and what to look at next, one row each.

Common practice, no source found, unless a row carries a mark; every number is an editable default
(ingest/ledger/settings.py). `when` names the facts (analytics/judging/facts.py) that must all hold. The first
row whose facts hold is a visit's verdict, so the order is by weight: proven faults outside the pump, then
average and speed, then ripple, then leanings. `steps` are the checks to pass, in order, before a
replacement may be booked.
"""

from __future__ import annotations

from dataclasses import dataclass

# The checks a step can ask for; analytics/judging/action.py knows when each is passed.
REPEAT, CIRCUIT, STARVATION, FILTER = "repeat", "circuit", "starvation", "filter"


@dataclass(frozen=True)
class Rule:
    """One row: `books` says whether the finding, repeated and all steps passed, may book a replacement."""

    id: str
    when: tuple[str, ...]
    text: str
    next_test: str
    steps: tuple[str, ...] = ()
    books: bool = False


RULES: tuple[Rule, ...] = (
    Rule(
        "no-current-proven-supply",
        ("dead", "supply_good", "drops_passed"),
        "The pump draws next to nothing although volts and ground at the pump are proven: "
        "it has failed outright.",
        "Confirm with the pump commanded on, then book it; no repeat is needed.",
        books=True,
    ),
    Rule(
        "circuit-low-volts",
        ("supply_low", "current_or_speed_low"),
        "Volts at the pump are low and the pump runs weakly because of it: wiring, battery or charging.",
        "Mend the circuit, then capture again; this reading does not judge the pump.",
        (CIRCUIT, REPEAT),
    ),
    Rule(
        "circuit-drop",
        ("drop_high",),
        "Too many volts are lost under load: {drops}.",  # [W]
        "Clean or mend that side of the circuit, then capture again.",
        (CIRCUIT, REPEAT),
    ),
    Rule(
        "average-very-low",
        ("current_very_low", "supply_good", "drops_passed"),
        "The average is far below specification on proven supply and ground.",
        "Rule out an empty tank, vapour, a blocked strainer, a split in-tank hose, a regulator stuck open "
        "and a reduced commanded speed; if it stays, book the pump.",
        (REPEAT, STARVATION, FILTER),
        books=True,
    ),
    Rule(
        "speed-high-poor-delivery",
        ("speed_high", "delivery_not_good"),
        "The pump spins faster than {rpm_high:,.0f} rpm and nothing shows that it moves fuel.",
        "Measure delivery; rule out an empty tank, vapour, a blocked strainer, a split in-tank hose, "
        "a regulator stuck open and a reduced commanded speed; then book.",
        (STARVATION, REPEAT, CIRCUIT, FILTER),
        books=True,
    ),
    Rule(
        "wear-both-down",
        ("current_fell", "speed_fell_far", "supply_good"),
        "Current and speed are both down on good volts against this pump's own baseline: "
        "brush or commutator wear.",
        "Capture again with the zero checked; watch it, and book once it is confirmed.",
        (REPEAT, CIRCUIT, STARVATION, FILTER),
        books=True,
    ),
    Rule(
        "average-below",
        ("current_below",),
        "The average is below specification: a supply or ground fault, or a starved or worn pump.",
        "Measure volts and both drops at the pump under load, then delivery.",
        (CIRCUIT, REPEAT, STARVATION, FILTER),
        books=True,
    ),
    Rule(
        "average-above",
        ("current_above",),
        "The average is above specification: a restriction, drag, wrong pressure or a shorted winding.",
        "Check pressure, then the filter, then the circuit.",
        (FILTER, REPEAT, CIRCUIT, STARVATION),
        books=True,
    ),
    Rule(
        "speed-low",
        ("speed_low",),
        "The pump turns slower than {rpm_low:,.0f} rpm: low volts, drag or brush wear.",
        "Measure volts at the pump under load first.",
        (CIRCUIT, REPEAT, FILTER, STARVATION),
        books=True,
    ),
    Rule(
        "speed-down",
        ("speed_fell_far",),
        "The pump turns far slower than its own baseline: low volts, drag or brush wear.",
        "Measure volts at the pump under load first.",
        (CIRCUIT, REPEAT, FILTER, STARVATION),
        books=True,
    ),
    Rule(
        "current-down-speed-up",
        ("current_fell_far", "speed_rose", "supply_good"),
        "Current is down and speed up on good volts: hydraulic wear, starvation or vapour.",
        "Check delivery and the strainer.",
        (STARVATION, REPEAT, CIRCUIT, FILTER),
        books=True,
    ),
    Rule(
        "current-up-speed-down",
        ("current_rose", "speed_fell"),
        "Current is up and speed down against this pump's own baseline: a restriction or drag.",
        "Check the filter or strainer where it can be serviced, then capture again.",
        (FILTER, REPEAT, CIRCUIT, STARVATION),
        books=True,
    ),
    Rule(
        "average-down",
        ("current_fell_far",),
        "The average is far below this pump's own baseline: a supply or ground fault, starvation or wear.",
        "Measure volts and both drops at the pump under load, then delivery.",
        (CIRCUIT, REPEAT, STARVATION, FILTER),
        books=True,
    ),
    Rule(
        "average-up",
        ("current_rose_far",),
        "The average is far above this pump's own baseline: a restriction, drag, wrong pressure or "
        "a shorted winding.",
        "Check pressure, then the filter, then the circuit.",
        (FILTER, REPEAT, CIRCUIT, STARVATION),
        books=True,
    ),
    Rule(
        "average-unlike-type",
        ("current_unlike_type",),
        "No specification is known, and the average is far from the {type_a:.2f} A that pumps of this type "
        "draw.",
        "Make sure that pump type, clamp point and probe factor are right; then volts and both drops at the "
        "pump under load.",
        (CIRCUIT, REPEAT),
    ),
    Rule(
        "ripple-high-speed-down",
        ("ripple_over", "speed_fell", "supply_good"),
        "Ripple is over {ripple_limit:.0f} % of the average and the pump turns slower than its own baseline "
        "on good volts: brush or commutator wear.",
        "Capture again with the zero checked; look at sparks and the segment profile; "
        "book once it is confirmed.",
        (REPEAT, CIRCUIT, STARVATION, FILTER),
        books=True,
    ),
    Rule(
        "ripple-high",
        ("ripple_over",),
        "Ripple is over {ripple_limit:.0f} % of the average: irregular commutation or a restriction. "
        "That alone condemns nothing.",
        "Check the filter; look at sparks and the segment profile; watch the trend.",
        (FILTER, REPEAT),
    ),
    Rule(
        "average-undecided",
        ("current_undecided",),
        "The average lies outside specification by less than the clamp's accuracy (±{accuracy:.2f} A): "
        "that decides nothing.",
        "Zero the clamp, take its narrowest range or another clamp or meter, and capture again.",
        (REPEAT,),
    ),
    Rule(
        "average-near-high",
        ("current_near_high",),
        "The average is near the high end of specification: a restriction is likeliest.",
        "Check the filter or strainer where it can be serviced, then capture again.",
        (FILTER,),
    ),
    Rule(
        "average-near-low",
        ("current_near_low",),
        "The average is near the low end of specification; not a fault by itself, but it matters with an "
        "unexplained lean complaint.",
        "Note it and carry on.",
    ),
    Rule(
        "no-reading",
        ("no_current_reading",),
        "No average current was measured.",
        "Change what the notes say and capture again.",
        (REPEAT,),
    ),
    Rule("healthy", (), "Nothing out of the ordinary.", "No action; the next capture as planned."),
)
RULE_BY_ID = {rule.id: rule for rule in RULES}
# A fact that says all that another says, and more.
SAYS_MORE = {
    "dead": ("current_very_low", "current_below", "current_fell_far", "current_fell"),
    "current_very_low": ("current_below",),
    "current_fell_far": ("current_fell",),
    "current_rose_far": ("current_rose",),
    "speed_fell_far": ("speed_fell",),
}


def adds_nothing(other: Rule, cited: Rule) -> bool:
    """Whether all that `other` rests on is said already by the facts of the rule cited."""
    said = {*cited.when, *(less for fact in cited.when for less in SAYS_MORE.get(fact, ()))}
    return said.issuperset(other.when)
