"""What is said beside a cost review: what it rests on, and how two descriptions of life agree."""

from __future__ import annotations

from analytics.cost_review.policy_review import Record
from analytics.cost_review.type_lives import FEW_FAILURES, TypeLives
from analytics.money.cost_book import Prices, odd_prices
from analytics.wording import Remark, remark


def notes(
    prices: Prices, types: TypeLives, record: Record | None, per: str, before_records: int = 0
) -> list[Remark]:
    """Return what a review rests on; record: None where no policy was simulated, else in money `per`;
    before_records: failures from before their units' records begin, which no life counts."""
    made = []
    if prices.placeholders:
        names = ", ".join(name.replace("_", " ") for name in prices.placeholders)
        made.append(remark("cost-placeholder-prices", names=names))
    if odd := odd_prices(prices):
        made.append(odd)
    count, share_pct = types.fleet.failures, 100 * types.fleet.prior_share
    if before_records:
        made.append(remark("failures-before-records", count=before_records))
    elif count == 0:
        made.append(remark("lives-of-practice"))
    if count == 1:
        made.append(remark("lives-of-one-failure", share_pct=share_pct))
    elif 1 < count < FEW_FAILURES:
        made.append(remark("lives-of-few-failures", count=count, share_pct=share_pct))
    if record is not None:
        told = {name: getattr(record, name) for name in ("simulated", "low", "high", "recorded")}
        told |= {"per": per}
        agree = record.low <= record.recorded <= record.high
        made.append(remark("lives-agree", **told) if agree else remark("lives-disagree", **told))
    return [*made, remark("model-as-true"), remark("saving-of-a-policy")]
