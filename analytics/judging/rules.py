"""The trade rules: what a reading means and what to look at next, one row each.

Common practice, no source found [P], unless a row carries another mark; every number is an editable default
(ingest/trade_numbers.py). `when` names the facts (analytics/judging/facts.py) that must all hold, `unless`
those of which none may. The first row whose facts hold is a visit's finding, so the order is by weight: what
makes the reading no reading, proven faults of the circuit, whether the pump delivers, average and speed,
then leanings. `steps` (analytics/judging/steps.py) are to be passed in order before `end`; the first that is
not is the next test, in the words of `says` where the row has its own.
"""

from __future__ import annotations

from analytics.judging.rule import BOOK, NOTE, WATCH, Rule
from analytics.judging.rules_delivery import DELIVERS
from analytics.judging.rules_first import CIRCUIT, DOUBTFUL
from analytics.judging.rules_leaning import LEANINGS
from analytics.judging.rules_level import OWN

__all__ = ["BOOK", "NOTE", "RULES", "RULE_BY_ID", "WATCH", "Rule", "adds_nothing"]

RULES: tuple[Rule, ...] = (*DOUBTFUL, *CIRCUIT, *DELIVERS, *OWN, *LEANINGS)
RULE_BY_ID = {rule.id: rule for rule in RULES}
# A fact that says all that another says, and more.
SAYS_MORE = {
    "dead": ("current_very_low", "current_below", "current_fell_far", "current_fell"),
    "current_very_low": ("current_below",),
    "current_fell_far": ("current_fell", "current_changed_far"),
    "current_rose_far": ("current_rose", "current_changed_far"),
    "speed_fell_far": ("speed_fell",),
    "stall_current": (
        "far_above",
        "current_above",
        "current_rose_far",
        "current_rose",
        "current_changed_far",
    ),
    "no_ripple": ("ripple_unseen",),
    "poor_by_own_limit": ("poor",),
}


def adds_nothing(other: Rule, cited: Rule) -> bool:
    """Whether all that `other` rests on is said already by the facts of the rule cited, or by its family."""
    said = {*cited.when, *(less for fact in cited.when for less in SAYS_MORE.get(fact, ()))}
    return said.issuperset(other.when) or bool(cited.family and other.family == cited.family)
