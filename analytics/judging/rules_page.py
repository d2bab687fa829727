"""The page of trade rules, from the table itself: `python -m analytics.judging.rules_page`."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

from analytics.judging.beside import NEXT
from analytics.judging.rules import BOOK, NOTE, RULES, WATCH, Rule
from analytics.judging.steps import STEPS
from ingest.settings_in_force import by_name
from ingest.trade_numbers import DEFAULTS

# The figures of a rule's sentence that are settings, and the clauses that only some visits add.
BY_DEFAULT = {
    "rpm_low": "rpm_low", "rpm_high": "rpm_high", "ripple_limit": "ripple_limit_pct",
    "usual_low": "usual_low_a", "usual_high": "usual_high_a",
}  # fmt: skip
ADDED = ("hot", "unseen", "segment", "command", "leads", "unsaid")
OUTPUT = Path(__file__).parents[2] / "docs" / "trade_rules.md"
HEAD = """# Trade rules: what a reading means and what to do next

Generated from `analytics/judging/rules.py` and `steps.py` by `python -m analytics.judging.rules_page`; edit
those, not this page. Marks: [S] public source, [W] several web pages without measurements, [P] common
practice, no source found. The first row whose facts hold is the finding, and the verdict cites its id. Every
number is a setting (settings.md) that a fleet can change, dated and logged; a pump type's own limits take
precedence. An ellipsis stands for what the visit itself shows.

`rank --json` gives the row as `finding` and `finding_text`, the first step not passed yet as `next_test` and
its action as `finding_action`. What is ordered in the end, counted in money, is `action`.

| id | reading | next, in this order | then | |
|---|---|---|---|---|
"""
STEPS_HEAD = """
## Steps

A step is passed by what was recorded since the finding first showed (a circuit for 60 days at most), by a
visit, a check without any current, or a row of work done. `check_result` no_other_cause passes every step
but a repeat.

| step | action | what to do | passed by |
|---|---|---|---|
"""
BESIDE_HEAD = """
## A second finding

What the first does not explain is named beside it, two at most, and its own next step follows the first
one's. Low volts explain current, speed and delivery as far as the motor's sensitivity goes: less current or
speed is named once it is 10 % beyond that and beyond 30 % of what the volts explain [P]; pressure and
delivery once they are below what the third power of the motor's volts leaves of them [P]: half the
pressure at 12.4 V is not the supply's doing.

A reading that is none hides neither what was found by eye nor pressure, delivery and volts; a fault of the
circuit hides, besides, no ripple, no doubtful speed and no current that is up.

| second | its next step |
|---|---|
"""
TAIL = """
## Like with like

- Current meets the specification after correction to the volts and pressure the specification states, where
  they were recorded at the pump; otherwise the verdict says that it isn't corrected. A pressure that is
  itself out of order corrects nothing away. The average lies outside only by more than the clamp's
  accuracy: 2 % of the reading and 0.05 A [P], 0.3 A more where the zero is known not to have been checked
  [P], or what the setting `clamps` says of the clamp named. The correction uses the nominal sensitivities
  of a brushed permanent-magnet motor (`ingest/sensitivities.py`).
- Drops are judged per ampere: what a circuit loses at the current that the pump should draw [P].
- The own baseline is the mean of the first 3 good readings in the same engine state, at the same commanded
  speed, both on E85 or neither, and, on a pulsed supply, within 5 points of the same duty. Metrics measured
  elsewhere or by another method version have a level of their own; a meter's average is held against the
  captures before it. Complaints, road calls and readings after a repair found none, nor does a reading whose
  own verdict is a fault. Where a fault lay on the baseline, work mended something beside the pump and the
  first good reading since lies off it, the baseline was the fault's and starts anew. Two good readings come
  before a change is told from it. It is marked new, bedding-in or late (or of unknown age).
- Ripple is held against that of another engine state where its own has no level yet, by twice as much.
- Speed: own baseline leads, the type's band next, 3,400 and 10,000 rpm last, and those not for lift pumps,
  diesel and gas [P].
- Ripple is judged on the average over turns, which sparks don't spoil. A step up that stays is a finding;
  slow growth is not. A pump's own level comes before the 15 % of the book.
- Where too little is delivered, current and volume say what to look at first. More current at less speed
  than the own baseline: filter and line after the pump, as a strainer or an empty tank unloads it. Pressure
  short while the volume is there: regulator and in-tank hose.
- The least delivery of 1.0 L/min holds for directly supplied petrol pumps whose type has none, and orders a
  check, never a change. Free flow proves nothing good.
- A reduced command (low speed, part duty) is held against readings at the same command only. A driver
  module is never bypassed: command full duty, or note the duty.
- Brushless pumps have no commutator: no ripple and no speed rule applies. A meter tells the average only.

## Repeats, complaints, failed pumps

- A repeat is the finding, or one of its family, on another day or after a zero check; never a meter beside
  a capture. One of the readings that show it must stand on a proven zero, the first as well as the last.
  What a gauge or a flow meter told needs another day alone.
- A complaint or road call stays open until pressure hold, volume, connector and a retest are recorded good,
  a cause that a check named is mended, the fault that its own reading showed is gone since work was done, or
  a person closes it with a reason (`closes`, with a note or
  result).
- A pump has failed by a breakdown confirmed as its own, by a stall, or by no current on volts proven at the
  plugged-in connector, with no change or good reading since. It stands first, without a probability.
"""


class _Shown(str):
    """Text that stands in for a figure, however the figure was to be printed."""

    def __format__(self, how: str) -> str:
        return str(self)


def rules_page() -> str:
    """Return the page: each rule with its steps, mark and end, and each step with what passes it; figures by
    default, an ellipsis for what only a visit has."""
    usual = {name: _Shown(f"{by_name(DEFAULTS, key):,g}") for name, key in BY_DEFAULT.items()}
    shown = defaultdict(lambda: _Shown("…"), usual | dict.fromkeys(ADDED, _Shown("")))
    rules = "".join(
        f"| `{rule.id}` | {rule.text.format_map(shown)} | {', '.join(rule.steps) or '–'} | {_end(rule)} "
        f"| {rule.mark} |\n"
        for rule in RULES
    )
    steps = "".join(f"| {s.id} | {s.action} | {s.text} | {s.passed} |\n" for s in STEPS)
    return HEAD + rules + STEPS_HEAD + steps + BESIDE_HEAD + _beside() + TAIL


def _beside() -> str:
    return "".join(f"| `{name}` | {text} |\n" for name, text in NEXT.items())


ENDS = {BOOK: "book a replacement", WATCH: "half the usual interval", NOTE: "–"}


def _end(rule: Rule) -> str:
    return ENDS[rule.end] + (", failed" if rule.fails else "")


if __name__ == "__main__":
    OUTPUT.write_text(rules_page(), encoding="utf-8")
