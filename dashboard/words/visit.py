"""What a visit's codes are called on pages and paper."""

from __future__ import annotations

REASONS = {
    "pm": "Planned stop",
    "follow-up": "Follow-up",
    "complaint": "Complaint",
    "road-call": "Road call",
    "after-repair": "After repair",
}
STATES = {"prime": "Key-on prime", "idle": "Idle", "loaded": "Loaded"}

WORK = {
    "filter": "Filter changed",
    "filter_kept": "Pump changed, old filter kept",
    "strainer": "Strainer renewed",
    "hose": "Hose renewed",
    "regulator": "Regulator renewed",
    "connector": "Connector renewed",
    "fuel": "Fuel renewed",
    "wiring": "Wiring mended",
    "tank_cleaned": "Tank cleaned",
    "other": "Other work",
}
PARTS = {
    "filter_state": "Filter",
    "strainer": "Strainer",
    "hose": "Hose in the tank",
    "regulator": "Regulator",
    "connector": "Connector at the tank",
}
PART_FOUND = {"good": "Good", "bad": "Bad", "not_reached": "Not reached"}
SUPPLY_AT = {"pump": "at the pump", "battery": "at the battery", "scan": "by scan tool"}
DELIVERY_AT = {"pressure": "against pressure", "free": "free flow"}
COMMANDED = {"low": "Low speed", "high": "High speed"}
CAUSES = {
    "circuit": "Circuit",
    "filter": "Filter",
    "strainer": "Strainer",
    "hose": "Hose",
    "regulator": "Regulator",
    "fuel": "Fuel",
    "clamp": "Clamp",
}
# What a check comes to, in one tap each.
OUTCOMES = {
    "no_other_cause": "No other cause, changed",
    "mended": "Cause found and mended, pump stays",
    "unfinished": "Could not finish",
}
# The work that a mended cause is written down as.
WORK_OF_CAUSE = {
    "circuit": "wiring",
    "filter": "filter",
    "strainer": "strainer",
    "hose": "hose",
    "regulator": "regulator",
    "fuel": "fuel",
}
