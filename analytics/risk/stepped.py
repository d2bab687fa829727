"""What is said of the steps that many pumps' readings took together (analytics.past.common_steps)."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from analytics.past.common_steps import Step
from analytics.past.history import EPOCH
from analytics.wording import Remark, remark
from ingest.metrics import metric

CODE = {"clamp": "step-clamp", "depot": "step-depot", "fleet": "step-fleet"}
MOST_SAID = 5


def said_of_steps(steps: Iterable[Step]) -> list[Remark]:
    """Return a remark for each of the newest steps, the newest first."""
    newest = sorted(steps, key=lambda step: -step.day)[:MOST_SAID]
    return [
        remark(
            CODE[step.by],
            day=date.fromordinal(EPOCH.toordinal() + step.day),
            metric=metric(step.metric).words,
            pumps=step.pumps,
            name=step.name,
            share_pct=round(100 * abs(step.share)),
            more="higher" if step.share > 0 else "lower",
        )
        for step in newest
    ]
