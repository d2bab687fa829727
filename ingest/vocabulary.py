"""The words an entry may hold, each list in one place, for commands, pages, fleet folder and judging.

They are what is stored and exchanged. What people read instead is in dashboard/words.
"""

from __future__ import annotations

# A visit.
REASONS = ("pm", "follow-up", "complaint", "road-call", "after-repair")
FAULT_REASONS = ("complaint", "road-call")  # open until a cause is found or everything is recorded good
STATES = ("prime", "idle", "loaded")
YES_NO = ("yes", "no")
COMMANDED = ("low", "high")  # the speed asked of a two-speed supply
SUPPLY_AT = ("pump", "battery", "scan")  # where the volts were read
DELIVERY_AT = ("pressure", "free")  # what the delivery was measured against
PART_FOUND = ("good", "bad", "not_reached")
# What a check examines; each is a column of a visit (filter_state: `filter` is a column of the pump's type).
PARTS = ("filter_state", "strainer", "hose", "regulator", "connector")
CHECK_RESULTS = (
    "no_other_cause", "circuit", "filter", "strainer", "hose", "regulator", "fuel", "clamp", "not_reproduced",
)  # fmt: skip

# Work on a unit's fuel system other than a pump change; filter_kept: the old filter stayed at one.
WORK = (
    "filter", "filter_kept", "strainer", "hose", "regulator", "connector", "fuel", "wiring", "tank_cleaned",
    "other",
)  # fmt: skip

# A pump type.
MOTORS = ("brushed", "brushless")
SUPPLIES = ("direct", "two-speed", "pwm")
FILTERS = ("inline", "module", "none")

# The end of a pump.
REMOVALS = ("failed", "on_condition", "opportunity", "other")
FOUND_FAILED = ("worn", "seized", "electrical")  # what a strip-down calls a pump that had failed or would
FOUND = (*FOUND_FAILED, "tested_good", "not_examined")
CONFIRMED = ("yes", "no", "unknown")

# A claim for a pump, and what a hold on a lot or type came to, for one pump or one depot's stock.
CLAIM_STATES = ("open", "sent", "paid", "refused")
HOLD_OUTCOMES = ("checked", "not_affected", "returned", "scrapped")

# What a person decided about a pump's change; how a question stands; what a photo shows.
BOOKING_STATES = ("booked", "pinned", "rejected", "done", "withdrawn")
QUESTION_STATES = ("open", "confirmed", "corrected", "dismissed")
PHOTO_SHOWS = ("visit", "clamp_point")

CLOCKS = ("distance", "hours")
