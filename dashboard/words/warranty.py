"""A pump's warranty, claims and holds in words."""

from __future__ import annotations

from datetime import date

from dashboard.words import formats
from ingest.visit.warranty import Warranty
from ingest.wording.language import phrase

CLAIM_STATES = {"open": "Open", "sent": "Sent", "paid": "Paid", "refused": "Refused"}
HOLD_OUTCOMES = {
    "checked": "Checked, good", "not_affected": "Not affected", "returned": "Sent back",
    "scrapped": "Scrapped", "changed": "Changed",
}  # fmt: skip


def warranty_line(warranty: Warranty, own: str, on: date, odometer_km: float | None = None) -> str:
    """Return how a pump's warranty stands in one sentence, "" where its type states no terms.

    own: the fleet's unit of distance; on, odometer_km: when it is or was taken off.
    """
    end, lacks = _end(warranty, own), [phrase(what) for what in warranty.unknown]
    missing = phrase(" and ").join(lacks) or phrase("the odometer")
    standing = warranty.standing(on, odometer_km)
    if standing == "none":
        return ""
    if standing == "over":
        return phrase("Out of warranty: it ended at {end}.", end=end)
    if standing == "in":
        if warranty.removed_on:
            return phrase("It came off in warranty, which ran until {end}.", end=end)
        return phrase("In warranty until {end}.", end=end)
    if not end:
        return phrase("Its type has a warranty; until when is not known without {missing}.", missing=missing)
    return phrase("In warranty until {end}, if at all: {missing} is not known.", end=end, missing=missing)


def _end(warranty: Warranty, own: str) -> str:
    day = None if warranty.until is None else formats.day(warranty.until)
    if warranty.until_km is None:
        return day or ""
    distance = formats.distance(warranty.until_km, own)
    if day is None:
        return phrase("{distance} on the odometer", distance=distance)
    return phrase("{day} or {distance} on the odometer, whichever comes first", day=day, distance=distance)
