"""One sentence per pump that says how high the risk is, from what, by how many like it, and how much is
belief.

The parts are shares of -ln S in points of risk; whole numbers are rounded so that they add up to the whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from analytics.past.frames import each
from ingest.units import format_quantity

FEW_FAILURES = 5
MUCH_PRIOR = 0.6
WORDS = {
    "drag": "drag",
    "hydraulic": "hydraulic wear",
    "commutator": "commutator damage",
    "brush": "brush damage",
}


def points(risk: np.ndarray, parts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return risk (n,) and parts (k, n) as whole percents that add up (largest remainders first)."""
    whole = np.round(100 * risk).astype(int)
    share = 100 * parts * (whole / np.maximum(100 * risk, 1e-12))
    low = np.floor(share + 1e-9).astype(int)
    left = whole - low.sum(0)
    rank = np.argsort(np.argsort(-(share - low), axis=0), axis=0)
    return whole, low + (rank < left)


@dataclass(frozen=True)
class Grounds:
    """What each sentence is written from, (n,) arrays of n pumps.

    risk_pct and parts_pct (by cause): whole percents from `points`; horizon: text, such as "5,000 mi";
    started: by damage, the chance that it has; n_alike, k_failed: past readings rated like this, and how many
    a failure followed.
    """

    risk_pct: np.ndarray
    parts_pct: dict[str, np.ndarray]
    horizon: np.ndarray
    readings: np.ndarray
    speed_falls: np.ndarray
    ripple_rises: np.ndarray
    started: dict[str, np.ndarray]
    n_alike: np.ndarray
    k_failed: np.ndarray
    prior_share: np.ndarray
    age_known: np.ndarray
    heals: np.ndarray
    restarted: np.ndarray


def reasons(g: Grounds, *, fleet_pct: int, fleet_failures: int) -> np.ndarray:
    """Write the sentences (with a second one where something must be asked), (n,) text."""
    sudden = g.parts_pct["sudden"]
    worn = _first_that_holds(
        (g.readings < 2, "wear as its type shows at this distance"),
        (g.speed_falls, "speed falling on good volts"),
        (g.ripple_rises, "ripple rising"),
        otherwise="usual wear",
    )
    sources = {"wear": worn} | {name: _started(WORDS[name], p) for name, p in g.started.items()}
    parts = np.array([g.parts_pct[name] for name in sources])
    order = np.argsort(-parts, axis=0, kind="stable")
    parts = np.take_along_axis(parts, order, 0)
    words = np.take_along_axis(np.array(list(sources.values()), object), order, 0)
    most = parts[0]
    told = _if(most > 0, _number(most) + _if(most == 1, " point from ", " points from ") + words[0])
    for part, word in zip(parts[1:], words[1:], strict=True):
        told = told + _if(part > 0, ", " + _number(part) + " from " + word)
    told = told + _if((most > 0) & (sudden > 0), ", ") + _if(sudden > 0, _number(sudden) + " unpredictable")
    alike = "; of " + _number(g.n_alike) + " past readings rated like this, " + _number(g.k_failed)
    alike = alike + _if(g.k_failed == 1, " was", " were") + " followed by a failure"
    return (
        _if(g.risk_pct > 0, _number(g.risk_pct), "Under 1")
        + " % chance of failing within "
        + g.horizon
        + f" (fleet {fleet_pct or 'under 1'} %)"
        + _if(most + sudden > 0, ": " + told)
        + _if(g.n_alike > 0, alike)
        + "."
        + _grounds_told(g)
        + _few_failures(fleet_failures)
        + _if(g.age_known, "", " Nobody knows when this pump was fitted.")
        + _first_that_holds(
            (
                g.restarted,
                " Its readings fell as if the pump had been changed without record: it counts as new since.",
            ),
            (g.heals, " Its ripple falls, which no pump does: check clamp, pump and unrecorded work."),
            otherwise="",
        )
    )


def with_next_step(rows: pd.DataFrame) -> list[str]:
    """Return each pump's reason and what follows from it; of a pump that is down, since when and by what.

    rows: reason, action, action_text, status, down_since, finding_text.
    """
    out = []
    for row in each(rows[["reason", "action", "action_text", "status", "down_since", "finding_text"]]):
        if row.status == "failed":
            since = f"Down since {str(row.down_since)[:10]}. {row.finding_text}"
            out.append(f"{since} Next: {row.action_text}")
        elif row.action == "none" or not row.action_text:
            out.append(row.reason)
        else:
            out.append(f"{row.reason} Next: {row.action_text[0].lower()}{row.action_text[1:]}")
    return out


def _started(what: str, p: np.ndarray) -> np.ndarray:
    return _first_that_holds(
        (p > 0.5, what + " that has probably started"),
        (p > 0.1, what + " that may have started"),
        otherwise=what + " that may start",
    )


def _grounds_told(g: Grounds) -> np.ndarray:
    share = (
        " "
        + _number(np.round(100 * g.prior_share))
        + " % of this rests on its type, not on its own readings."
    )
    return _first_that_holds(
        (g.readings == 0, " No reading yet: told from type and distance alone."),
        (g.readings == 1, " One reading only: its level against its type."),
        (g.prior_share > MUCH_PRIOR, share),
        otherwise="",
    )


def _few_failures(failures: int) -> str:
    if failures >= FEW_FAILURES:
        return ""
    seen = "no failure" if failures == 0 else f"only {failures} failure{'s' if failures > 1 else ''}"
    return f" This fleet has seen {seen} yet, so failure levels are trade experience."


def _number(value: np.ndarray) -> np.ndarray:
    return np.array([f"{n:,}" for n in np.asarray(value).astype(int)], object)


def _if(holds: np.ndarray, yes: str | np.ndarray, no: str | np.ndarray = "") -> np.ndarray:
    return np.where(holds, np.asarray(yes, object), np.asarray(no, object))


def _first_that_holds(*cases: tuple[np.ndarray, str | np.ndarray], otherwise: str) -> np.ndarray:
    out: str | np.ndarray = otherwise
    for holds, text in reversed(cases):
        out = _if(holds, text, out)
    return np.asarray(out)


def beyond(distance_km: np.ndarray, experience_km: np.ndarray, unit: str) -> list[str]:
    """Show distances left (n,); past what any pump was seen to run: "more than ..., longest seen"."""
    distance, experience = format_quantities(distance_km, unit), format_quantities(experience_km, unit)
    return list(
        _first_that_holds(
            (experience_km <= 0, "a distance nobody knows: it has run longer than any pump seen"),
            (distance_km > experience_km, "more than " + experience + ", longest seen"),
            (np.ones(len(distance_km), bool), distance),
            otherwise="",
        )
    )


def format_quantities(value: np.ndarray, unit: str, *, digits: int | None = None) -> np.ndarray:
    """As ingest.units.format_quantity, for many kept values (n,)."""
    different, back = np.unique(np.round(value, 2), return_inverse=True)
    return np.array([format_quantity(v, unit, digits=digits) for v in different] or [""], object)[back]
