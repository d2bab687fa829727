"""What a visit's codes are called on pages and paper."""

from __future__ import annotations

REASONS = {
    "pm": "Planned stop",
    "complaint": "Complaint",
    "road-call": "Road call",
    "after-repair": "After repair",
}
STATES = {"prime": "Key-on prime", "idle": "Idle", "loaded": "Loaded"}
