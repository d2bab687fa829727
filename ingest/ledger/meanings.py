"""What a column means that has no comment in the schema, for the data dictionary.

Released scripts are never edited, so what they left unsaid is said here: by table and column, by column in
any table, and for a view by the table that the column comes from.
"""

from __future__ import annotations

from collections.abc import Mapping

# Tables whose comments describe the columns of a view, the first that has the column.
DESCRIBED_BY = {
    "visit_detail": ("visit", "reading", "pump", "vehicle", "pump_type"),
    "current_reading": ("reading",),
}
BY_COLUMN = {
    "unit": "the vehicle's number, as the fleet writes it",
    "position": "which pump of the unit; main where there is one",
    "depot": "where it is kept and serviced",
    "pump_type": "part number, as in pump_type",
    "serial": "the pump's serial number",
    "pump_id": "which pump, by the number of its life",
    "visit_id": "which visit",
    "reading_id": "number of the reading",
    "capture_hash": "the capture that was measured, as in capture",
    "technician": "who took it, by name or initials",
    "note": "what else was written down, in words",
    "reason": "why, in the words of who did it",
    "channel": "channel of the file that was read",
    "clamp": "which clamp or meter it was taken with",
    "clamp_point": "where to clamp",
    "probe": "the clamp's factor, such as 100mV/A",
    "make": "the vehicle's maker, as the fleet writes it",
    "model": "the vehicle's model, as the fleet writes it",
    "engine": "the vehicle's engine, as the fleet writes it",
    "currency": "of the amount",
    "set_by": "who set it",
    "decided_by": "who decided it",
    "made_by": "who made it",
    "answered_by": "who answered it",
    "changed_by": "who changed it",
    "table_name": "the table of the row",
    "file_name": "name of the file as it came",
    "sample_rate_hz": "samples a second of the capture",
    "weakest_segment": "the commutator bar with the lowest peak, counted from where the record began",
    "strongest_segment": "the commutator bar with the highest peak, counted from where the record began",
    "sparks_per_s": "groups of samples far off the average turn, in a second",
}
BY_PLACE = {
    ("bay_hours", "hours"): "bay hours open in that week",
    ("booking", "booking_id"): "number of the decision",
    ("booking", "planned_on"): "the day it is meant for",
    ("breakdown", "breakdown_id"): "number of the breakdown",
    ("breakdown", "happened_on"): "local date",
    ("breakdown", "cost"): "what it cost, in the fleet's currency",
    ("change_log", "change_id"): "number of the change",
    ("change_log", "row_key"): "the row's number or name",
    ("change_log", "old_value"): "what stood there before, as text",
    ("change_log", "new_value"): "what stands there since, as text",
    ("connection_note", "note_id"): "number of the note",
    ("connection_note", "year_from"): "first model year it holds for; empty: any",
    ("connection_note", "year_to"): "last model year it holds for; empty: any",
    ("connection_note", "fuse"): "the fuse of the pump's circuit",
    ("connection_note", "picture"): "a photo of the place, written anew as JPEG",
    ("cost_entry", "cost_id"): "number of the price",
    ("cost_entry", "amount"): "the price, in the unit of its element",
    ("due_work", "due_on"): "the day it is due",
    ("due_work", "work"): "what is due",
    ("due_work", "hours"): "bay hours that it takes",
    ("fit", "fit_id"): "number of the fit",
    ("fit", "method_version"): "method of the model that was fitted",
    ("fit", "parameters"): "what was learned, by name",
    ("odometer", "read_on"): "local date",
    ("plan_list", "list_id"): "number of the list",
    ("plan_list", "as_of"): "the day it stands on",
    (
        "plan_list",
        "expected_saving",
    ): "what its changes save against leaving those pumps to fail, in the fleet's currency",
    ("pump", "removed_hours"): "the unit's engine hours at removal",
    ("pump_type", "warranty_months"): "months of the maker's warranty from fitting",
    ("question", "question_id"): "number of the question",
    ("reading", "visit_id"): "the visit that it was measured at",
    ("service", "service_id"): "number of the piece of work",
    ("service", "done_on"): "local date",
    ("setting", "key"): "name of the setting (settings.md)",
    ("setting", "value"): "what it is set to",
    ("visit", "visit_id"): "number of the visit",
    ("visit_detail", "fuel"): "what its pump type pumps",
    ("visit_detail", "fuel_in_tank"): "fuel in the tank, as entered, such as E10",
    ("visit_detail", "mean_a"): "average over whole turns, else the meter's, A",
    ("visit_detail", "motor"): "brushed or brushless, as told at a visit, else of the type",
    ("visit_detail", "supply"): "direct, two-speed or pwm, as told at a visit, else of the type",
    ("visit_detail", "segments"): "commutator bars, as told at a visit, else of the type",
    ("visit_detail", "segments_found"): "commutator bars found in the trace",
    ("visit_detail", "poles"): "magnet poles, as told at a visit, else of the type",
    ("visit_detail", "distance_on_pump_km"): "what the pump has run by then, km; empty: not known",
    ("visit_detail", "hours_on_pump"): "engine hours that the pump has run by then",
    ("visit_detail", "filter_changed_on"): "when the unit's filter was last changed by then",
    ("visit_detail", "reading_notes"): "what measuring noted: code, level and values",
}


def meaning(table: str, column: str, comments: Mapping[tuple[str, str], str | None]) -> str:
    """Return what a column means, "" where nothing says it; comments: of the schema, by table and column."""
    candidates = [
        comments.get((table, column)),
        BY_PLACE.get((table, column)),
        *(
            comments.get((other, column)) or BY_PLACE.get((other, column))
            for other in DESCRIBED_BY.get(table, ())
        ),
        BY_COLUMN.get(column),
    ]
    return next((text for text in candidates if text), "")
