"""Which steps have been passed for the finding of each pump's last reading."""

from __future__ import annotations

import numpy as np
import pandas as pd

from analytics.judging.baseline import number, text
from analytics.judging.examined import last_work
from analytics.judging.made import NOT_SERVICEABLE
from analytics.judging.rules import RULES
from analytics.judging.steps import STEPS
from ingest.settings_in_force import Settings

UNCOMPARED = ("healthy", "tank-low", "reduced-command", "no-specification")
# Findings that only a reading alike can show again or clear.
ON_BASELINE = (
    "ripple-jumped", "wear-both-down", "current-down-speed-up", "current-up-speed-down", "speed-down",
    "average-down", "average-up", "current-changed-speed-same", "speed-doubted",
)  # fmt: skip


BY_ACCURACY = "average-undecided"  # which each reading's own zero widens
WORN = "wear-both-down"  # whose repeat asks to feel the connector


def incomparable(judged: pd.DataFrame) -> np.ndarray:
    """Whether a visit finds nothing because it is held against no reading of its pump alike (n,): another
    engine state or command without a baseline. It clears no finding that rests on a baseline."""
    unlike = np.isnan(number(judged, "current_change_pct")) & np.isnan(number(judged, "speed_change_pct"))
    looked = (text(judged, "check_result") != "") | (text(judged, "reason") == "after-repair")
    return judged["rule"].isin(UNCOMPARED).to_numpy() & unlike & ~looked.to_numpy()


def evidence(
    judged: pd.DataFrame, last: pd.DataFrame, services: pd.DataFrame | None, settings: Settings
) -> pd.DataFrame:
    """Return by pump whether each step is passed (one bool column a step), and `times_seen`.

    judged: from verdict.judge, in order of pump and time; last: the last row of each pump, by pump_id.
    """
    pump = judged["pump_id"]
    # A reading that could not show it neither breaks the run nor counts.
    unlike = incomparable(judged) & pump.map(last["rule"]).isin(ON_BASELINE).to_numpy()
    shows = _shows(judged, last) | unlike
    # The unbroken run of readings, back from the last, that show the last one's finding.
    backwards = pump.to_numpy()[::-1]
    run = pd.Series(shows[::-1]).groupby(backwards).cummin().to_numpy()[::-1].astype(bool)
    visited = pd.to_datetime(judged["visited_on"])
    shown = run & ~unlike
    first_seen = visited[shown].groupby(pump[shown]).first().reindex(last.index)
    complaint = (last["rule"] == "complaint-open").to_numpy()
    first_seen = first_seen.where(~complaint, pd.to_datetime(last["complaint_since"]))
    since = pump.map(first_seen).to_numpy() <= visited.to_numpy()

    place = last.index.get_indexer(pd.Index(pump))

    def found(fact: pd.Series | np.ndarray, within: np.ndarray = since) -> pd.Series:
        """Whether a fact held at any visit since the finding."""
        held = np.zeros(len(last) + 1, bool)  # the last of them: pumps that are none of these, place -1
        held[place[np.asarray(fact, bool) & within]] = True
        return pd.Series(held[:-1], index=last.index)

    def worked(*works: str) -> pd.Series:
        return last_work(last, services, works) >= first_seen

    recent_from = pd.to_datetime(last["visited_on"]) - pd.Timedelta(days=int(settings["steps_valid_days"]))
    # A circuit that passed before the finding appeared excludes nothing.
    recent = since & (visited.to_numpy() >= pump.map(recent_from).to_numpy())
    seen = _times_seen(judged, shown, last.index)
    examined = found(judged["no_other_cause"])
    # One reading on a proven zero shows that it was none; another day shows that it stays.
    zeroed = found(judged["zeroed"] & ~judged["carried"], shown)
    repeated = (seen >= 2) & zeroed & (last["zeroed"] | (last["rule"] != BY_ACCURACY))
    retested = complaint & found(judged["sound"] & ~judged["carried"] & (visited > pump.map(first_seen)))
    at_pump = text(judged, "supply_v_at") == "pump"
    changed = pd.to_datetime(last["filter_changed_on"]) >= first_seen
    found_connector = found(judged["connector_good"]) | worked("connector") | examined
    found_filter = changed | worked("filter") | found(judged["filter_good"]) | examined
    # Felt as the repeat asked, unless half the speed on the same current speaks for a lost supply.
    asked = shown & (judged["rule"] == WORN).to_numpy()
    felt = (last["rule"] == WORN) & (_times_seen(judged, asked, last.index) >= 2) & ~last["speed_halved"]
    passed = {
        "repeat": repeated | retested,
        "again": seen >= 2,  # a gauge and a flow meter told it, whatever the clamp's zero
        "clamp": False,
        "command": False,
        "mend circuit": False,
        "mend filter": False,
        "mend flow": False,
        "bleed": repeated,
        # A weak circuit makes a pump slow, never fast.
        "circuit": found(
            judged["supply_good"]
            & (judged["drops_passed"] | judged["turns_fast"] & ~judged["speed_doubtful"]),
            recent,
        )
        | examined,
        "loaded volts": (found(judged["supply_good"] & at_pump) & found(judged["connector_good"])) | examined,
        "connector": found_connector | felt,
        "level": found(judged["level_good"], recent) & ~last["level_low"] | examined,
        "fuel": found(judged["fuel_known"]) | worked("fuel", "tank_cleaned") | examined,
        "pressure": found(judged["pressure_measured"]) | examined,
        "delivery": np.where(complaint, found(judged["delivery_good"]), found(judged["delivery_measured"]))
        | examined,
        "hold": found(judged["pressure_held"]) | examined,
        "hose": found(judged["hose_good"]) | worked("hose") | examined,
        "regulator": found(judged["regulator_good"]) | worked("regulator") | examined,
        "strainer": found(judged["strainer_good"]) | worked("strainer", "tank_cleaned") | examined,
        "filter": last["filter"].isin(NOT_SERVICEABLE) | found_filter,
    }
    return pd.DataFrame({step.id: passed[step.id] for step in STEPS}, index=last.index).assign(
        times_seen=seen,
        connector_found=found_connector,
        filter_found=found_filter,
        drops_good=found(judged["drops_passed"]),
        volts_good=found(judged["supply_good"]),
    )


def _shows(judged: pd.DataFrame, last: pd.DataFrame) -> np.ndarray:
    """Whether each visit shows the finding of its pump's last one: the same rule, or one of its family."""
    wanted = judged["pump_id"].map(last["rule"]).to_numpy()
    shows = np.zeros(len(judged), bool)
    for rule in RULES:
        mine = wanted == rule.id
        if mine.any():
            alike = [r for r in RULES if r is rule or (rule.family and r.family == rule.family)]
            held = np.logical_or.reduce([judged[f"rule:{r.id}"].to_numpy(bool) for r in alike])
            shows[mine] = held[mine]
    return shows | judged["carried"].to_numpy(bool)


def _times_seen(judged: pd.DataFrame, run: np.ndarray, pumps: pd.Index) -> pd.Series:
    """How often the finding was seen: on so many days, and once more for each zero check between, never by a
    meter beside a capture."""
    readings = judged[run & ~judged["carried"].to_numpy(bool)]
    day = readings["visited_on"]
    again = pd.DataFrame({"pump": readings["pump_id"], "day": day}).duplicated().to_numpy()
    meter = (text(readings, "origin") == "meter").to_numpy()
    zeroed = (text(readings, "zero_checked") == "yes").to_numpy()
    counts = ~again | (zeroed & ~meter)
    return (
        pd.Series(counts, index=readings.index)
        .groupby(readings["pump_id"])
        .sum()
        .reindex(pumps, fill_value=0)
    )
