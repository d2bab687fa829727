"""What to do about a pump while its vehicle still stands in the bay: the decision, with part and hours
there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pandas as pd

from analytics.judging.action import AT_ONCE
from analytics.learning.fitting import stored_fit
from analytics.money.decision import CAUSE_FOUND, FAILED, NO_FUEL
from analytics.risk.deciding import BOOK
from analytics.risk.forecast import score
from analytics.risk.pump_drift import history_of_unit
from analytics.risk.ranking import decided_facts, facts_of
from analytics.scheduling.doubts import booking_doubts
from analytics.scheduling.hours import job_hours
from analytics.scheduling.steps import bring, steps
from analytics.statements import statement
from analytics.wording import whole_percent
from ingest.ledger.connection import open_ledger
from ingest.ledger.settings import settings_at
from ingest.wording.language import phrase


@dataclass(frozen=True)
class BayDecision:
    """`job` to do now ("nothing": none); `text` says so in a sentence or two; doubts: what speaks against
    it.
    """

    job: str
    action: str
    p_change: float
    saving: float
    hours: float
    steps: tuple[str, ...]
    bring: str
    doubts: tuple[str, ...]
    text: str


def decide_after(ledger: Path, visit_id: int) -> BayDecision | None:
    """Decide about the pump of a visit just stored, on the visit's day; None for one that is not its
    newest.
    """
    with open_ledger(ledger) as connection:
        rows = connection.execute(statement("plan_pump_of_visit"), [visit_id]).fetchall()
    if not rows or rows[0][0] is None:
        return None
    pump_id, on = rows[0]
    return decide_in_the_bay(ledger, int(pump_id), on)


def decide_in_the_bay(ledger: Path, pump_id: int, on: date) -> BayDecision | None:
    """Decide about one pump read on a day, from its own unit's past and the newest stored fit.

    None before the fleet has been learned (by rank, plan or a page) and for a pump not in service.
    """
    fit = stored_fit(ledger)
    if fit is None:
        return None
    history = history_of_unit(ledger, pump_id, on)
    with open_ledger(ledger) as connection:
        facts = facts_of(connection, history, on, on)
        rows, _ = decided_facts(facts, score(history, fit))
        rows = rows[rows["pump_id"] == pump_id]
        if not len(rows):
            return None
        row = rows.iloc[0]
        now = row["at"] == "now"
        job = str(row["job"]) if now else "nothing"
        doubts = []
        if job != "nothing":
            doubts = booking_doubts(connection, pump_id, on, on, part=job != "check")
        settings = settings_at(connection, on)
    hours = (
        float(job_hours(rows[:1], rows["option"].to_numpy()[:1], settings)[0]) if job != "nothing" else 0.0
    )
    line = SimpleNamespace(
        job=job, asked_first=row["asked_first"], finding=row["finding"], finding_action=row["finding_action"],
        because=row["because"], p_beside=float(row["p_beside"]), filter=None, pump_type=row["pump_type"],
        action_text=row["action_text"], step_text=row["step_text"], cause_found=bool(row["cause_found"]),
        made=int(row["made"]),
    )  # fmt: skip
    told = tuple(steps(line)) if job != "nothing" else ()
    line.steps = told
    return BayDecision(
        job, str(row["action"]), float(row["p_change"]) if now else 0.0, float(row["saving"]) if now else 0.0,
        hours, told, bring(line) if told else "", tuple(doubts), _text(row, job, hours, doubts),
    )  # fmt: skip


NOW = {
    "check": "Check it now, while it is in the bay ({share} % end in a change), {hours} h.",
    "check and change": (
        "Check and change it now, while it is in the bay ({share} % end in a change), pump {pump_type}, "
        "{hours} h."
    ),
    "change": "Change it now, while it is in the bay, pump {pump_type}, {hours} h.",
}

NO_FUEL_NOW = "Check it now, while it is in the bay: the engine may get no fuel, {hours} h."
MEND_FIRST_NOW = (
    "Mend what was found and capture again, then change it now unless that clears the reading ({share} % end "
    "in a change), pump {pump_type}, {hours} h."
)
MEND_NOW = "Mend what was found now, while it is in the bay, {hours} h."
NOT_FOR_IT = "{text} It pays whatever the finding's next test would show: that need not be waited for."
SETTLED = ("none", BOOK)  # actions of a finding that asks for nothing more
FOR_ITS_RISK = (
    "{text} Not for this reading alone: by all that is known of it, {risk} % of such pumps fail before their "
    "next stop."
)


def _text(row: pd.Series, job: str, hours: float, doubts: list[str]) -> str:
    if job == "nothing":
        if row["job"] == "nothing":
            if row["finding_action"] in AT_ONCE:
                return phrase("No work on this pump pays on what is known: the next test decides.")
            return phrase("Nothing about this pump pays now.")
        later = {"job": phrase(row["job"]), "at": phrase(row["at"])}
        return phrase("Not now: {job} at its {at} pays better.", **later)
    told = {
        "share": whole_percent(100 * row["p_change"]), "pump_type": row["pump_type"], "hours": f"{hours:.1f}",
    }  # fmt: skip
    of_its_own = {NO_FUEL: NO_FUEL_NOW, CAUSE_FOUND: MEND_NOW} if job == "check" else {}
    if job == "check and change" and row["cause_found"]:
        of_its_own = {str(row["because"]): MEND_FIRST_NOW}
    text = phrase(of_its_own.get(str(row.get("because")), NOW[job]), **told)
    risk = row["risk_to_next_stop"]
    if row["finding_action"] == "none" and risk == risk:  # nobody is left to wonder at a sound reading
        text = phrase(FOR_ITS_RISK, text=text, risk=whole_percent(100 * risk))
    if job == "change" and row["finding_action"] not in SETTLED and row["because"] != FAILED:
        text = phrase(NOT_FOR_IT, text=text)
    return phrase("{text} But {doubts}.", text=text, doubts="; ".join(doubts)) if doubts else text
