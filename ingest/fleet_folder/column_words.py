"""Words that people head columns with, name files with and fill cells with, by what they mean here.

Our own collection of plain words; no program's headers. Words of a phrase may stand in any order and
between others.
"""

from __future__ import annotations

import unicodedata

from ingest.fleet_folder import column_words_elsewhere as elsewhere

# Of each column, phrases; those of one table alone under TABLE.COLUMN.
_HEADERS: dict[str, tuple[str, ...]] = {
    "unit": ("unit", "unit no", "vehicle", "vehicle no", "vehicle number", "fleet no", "asset", "asset no",
             "truck", "bus", "car", "van", "equipment", "equipment no", "wagon", "coach", "coach no",
             "truck no", "bus no", "car no", "van no", "veh no", "wagon no", "asset id", "vehicle id",
             "unit id"),
    "vin": ("vin", "vin no", "chassis", "chassis no", "frame no"),
    "year": ("year", "model year", "built", "my"),
    "make": ("make", "maker", "manufacturer", "brand", "mk", "mfr"),
    "model": ("model", "mdl"),
    "engine": ("engine", "motor size"),
    "class": ("class", "vehicle class", "vehicle type", "body"),
    "depot": ("depot", "site", "location", "base", "yard", "garage", "branch", "station", "terminal",
              "home"),
    "in_service_on": ("in service", "in service date", "put in service", "purchase date", "registered",
                      "in fleet since", "in use since", "bought", "purchased"),
    "retires_on": ("retires", "retirement date", "sell by"),
    "pm_interval": ("interval", "service interval", "pm interval", "service every", "pm every"),
    "pm_interval_days": ("interval days", "service interval days"),
    "position": ("position", "tank", "place", "which pump"),
    "pump_type": ("pump", "pump type", "pump p n", "p n", "part", "part no", "part number", "pump part",
                  "pump model", "item"),
    "serial": ("serial", "serial no", "serial number", "pump serial", "new serial", "new pump serial",
               "s n", "s n new", "s n new pump"),
    "lot": ("lot", "batch", "lot no", "batch no", "date code"),
    "fitted_on": ("fitted", "installed", "install date", "installation date", "fitting date", "fit date",
                  "date in", "swap date", "swapped on", "change date", "changed on", "renewed on",
                  "put in"),
    "fitted_odometer": ("fitted odometer", "install odometer", "odometer at install",
                         "install mileage", "odometer in", "miles in",
                        "km in", "at miles", "at km", "fitted at", "odometer at swap", "odometer at change",
                        "meter in"),
    "removed_on": ("removed", "removal date", "replaced", "replaced on", "replacement date", "date out",
                   "taken out", "taken off"),
    "removed_odometer": ("removed odometer", "removal mileage", "odometer out", "miles out", "km out",
                         "meter out"),
    "removal": ("removal reason", "why removed", "removal", "replacement reason", "reason out",
                "why out", "why off"),
    "found": ("found", "finding", "tear down", "teardown", "strip down", "stripdown"),
    "cause": ("cause", "root cause"),
    "claim": ("claim", "claim no", "warranty claim"),
    "visited_on": ("date", "visit", "visit date", "visited", "service date", "inspection date", "test date",
                   "tested on", "read on", "measured on", "check date", "day", "when", "checked",
                   "checked on", "tested", "measured", "completed", "completed on", "date done", "work date"),
    "odometer": ("odometer", "odo", "mileage", "miles", "kilometres", "kilometers", "km", "meter reading",
                 "meter", "distance", "reading km"),
    "hours": ("hours", "engine hours", "hour meter", "hourmeter"),
    "visits.csv.reason": ("reason", "reason for visit", "visit type", "kind of visit", "job type",
                          "service type", "kind", "what for"),
    "visits.csv.state": ("state", "engine state", "engine", "key position", "key pos", "key"),
    "capture": ("capture", "file", "file name", "filename", "recording", "trace", "waveform"),
    "mean_a": ("mean current", "average current", "avg current", "current average", "mean amps",
               "average amps", "avg amps", "amps avg", "a avg"),
    "meter_a": ("amps", "current", "amp draw", "current draw", "pump current", "pump amps", "meter amps",
                "amperage"),
    "ripple_pct": ("ripple", "ripple percent", "ripple pct", "ripple of average"),
    "rpm": ("rpm", "speed", "pump speed", "pump rpm"),
    "supply_v": ("volts", "voltage", "supply", "supply volts", "supply voltage", "battery volts",
                 "pump volts", "pump voltage", "battery voltage", "v", "volt"),
    "drop_supply_v": ("supply drop", "feed drop", "positive drop", "drop supply", "power side drop"),
    "drop_ground_v": ("ground drop", "earth drop", "return drop", "negative drop", "drop ground"),
    "fuel_pressure_kpa": ("pressure", "fuel pressure", "rail pressure", "press", "psi", "bar", "kpa"),
    "delivery_l_min": ("delivery", "flow", "fuel flow", "volume flow"),
    "fuel_temp_c": ("fuel temp", "fuel temperature", "temperature", "temp"),
    "fuel_level_pct": ("fuel level", "tank level", "level"),
    "clamp": ("clamp", "probe", "meter used", "instrument"),
    "clamp_point": ("clamp point", "measured at", "test point"),
    "technician": ("technician", "tech", "mechanic", "by", "done by", "initials", "fitter", "name", "who"),
    "note": ("note", "notes", "what happened", "comment", "comments", "remark", "remarks", "description",
             "complaint text"),
    "done_on": ("date", "done", "done on", "date done", "work date", "service date", "completed",
                "completed on"),
    "work": ("work", "work done", "job", "task", "service", "operation"),
    "happened_on": ("date", "happened", "breakdown date", "incident date", "failure date", "towed on", "day"),
    "pump_confirmed": ("pump confirmed", "pump", "pump fault", "was it the pump", "pump failed", "confirmed"),
    "cost": ("cost", "total cost", "tow", "tow cost", "amount", "price paid", "invoice"),
    "read_on": ("date", "read on", "reading date", "day"),
    "due_on": ("due", "due on", "due date", "next due"),
    "count": ("count", "on hand", "in stock", "quantity", "qty", "stock"),
    "week": ("week", "week of", "week beginning"),
    "bays.csv.hours": ("hours", "bay hours", "capacity"),
    "current_low_a": ("current low", "min current", "current min", "low amps", "amps min"),
    "current_high_a": ("current high", "max current", "current max", "high amps", "amps max"),
    "segments": ("segments", "commutator bars", "bars"),
    "price": ("price", "unit price", "list price"),
    "warranty_months": ("warranty months", "months warranty"),
    "warranty_distance": ("warranty distance", "warranty miles", "warranty km"),
    "lead_time_days": ("lead time", "lead time days", "delivery days"),
    "ref": ("ref", "reference", "record no", "record id", "id", "row id", "order no", "work order",
            "job no"),
}  # fmt: skip
# What a file's name says of the table in it.
_FILES: dict[str, tuple[str, ...]] = {
    "vehicles.csv": ("vehicle", "vehicles", "fleet", "asset", "assets", "units", "equipment"),
    "pump_types.csv": ("types", "catalogue", "catalog", "specification", "specs"),
    "pumps.csv": ("pumps", "fitted", "installed", "replacements", "changes", "swaps"),
    "visits.csv": ("visits", "inspections", "inspection", "readings", "tests", "measurements", "checks",
                   "amps"),
    "services.csv": ("services", "service", "work", "jobs", "orders", "maintenance"),
    "breakdowns.csv": ("breakdowns", "breakdown", "tow", "tows", "roadcalls", "calls", "failures",
                       "incidents"),
    "stock.csv": ("stock", "inventory", "store"),
    "bays.csv": ("bays", "capacity"),
    "due_work.csv": ("due", "upcoming"),
    "odometers.csv": ("odometers", "odometer", "mileage", "meters"),
}  # fmt: skip
# What a cell's words mean, by column: the first whose word stands in it.
_CELLS: dict[str, dict[str, tuple[str, ...]]] = {
    "reason": {
        "after-repair": ("after", "post"),
        "follow-up": ("follow", "recheck", "repeat"),
        "road-call": ("road", "breakdown", "tow", "towed", "stranded"),
        "complaint": ("complaint", "complains", "driver", "symptom", "hard start", "walk in"),
        "pm": ("pm", "preventive", "scheduled", "routine", "planned", "inspection", "service", "annual"),
    },
    "removal": {
        "failed": ("failed", "failure", "dead", "no start", "seized", "broken"),
        "on_condition": ("condition", "readings", "test", "preventive", "worn"),
        "opportunity": ("opportunity", "while", "anyway"),
        "other": ("other", "moved", "recall"),
    },
    "found": {
        "tested_good": ("good", "ok", "no fault"),
        "not_examined": ("not examined", "not checked", "discarded"),
        "seized": ("seized", "stuck", "jammed"),
        "electrical": ("electrical", "open", "short", "winding"),
        "worn": ("worn", "brushes", "wear"),
    },
    "work": {
        "strainer": ("strainer", "sock"),
        "filter": ("filter",),
        "hose": ("hose",),
        "regulator": ("regulator",),
        "connector": ("connector", "plug"),
        "wiring": ("wiring", "wire", "ground", "harness", "relay"),
        "tank_cleaned": ("tank",),
        "fuel": ("fuel drained", "fuel changed", "fuel renewed", "drain fuel", "bad fuel"),
        "other": ("other",),
    },
    "state": {
        "prime": ("prime", "key on", "koeo"),
        "idle": ("idle", "idling", "koer"),
        "loaded": ("loaded", "load", "driving"),
    },
    "filter": {"inline": ("inline", "in line", "frame"), "module": ("module", "tank"), "none": ("none",)},
    "supply": {"two-speed": ("two", "resistor"), "pwm": ("pwm", "module"), "direct": ("direct", "relay")},
    "motor": {"brushless": ("brushless",), "brushed": ("brushed", "brush")},
}


def folded(text: str) -> str:
    """Return a text in small letters without accents: Süd is sud, Straße strasse."""
    parts = unicodedata.normalize("NFKD", text.casefold())
    return "".join(letter for letter in parts if not unicodedata.combining(letter))


def _joined(own: dict[str, tuple[str, ...]], more: dict[str, tuple[str, ...]]) -> dict[str, tuple[str, ...]]:
    return {name: own.get(name, ()) + more.get(name, ()) for name in own | more}


HEADERS = _joined(_HEADERS, elsewhere.HEADERS)
FILES = _joined(_FILES, elsewhere.FILES)
CELLS = {
    name: _joined(_CELLS.get(name, {}), elsewhere.CELLS.get(name, {})) for name in _CELLS | elsewhere.CELLS
}
