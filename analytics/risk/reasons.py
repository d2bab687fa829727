"""Why a pump's risk is what it is, as codes and values: how high, from what, by how many like it, and how
much is belief. `analytics/wording.py` has the words.

The parts are shares of -ln S in points of risk; whole numbers are rounded so that they add up to the whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd

from analytics.learning.gaps import ENOUGH_FAILURES
from analytics.money.decision import ON_COST
from analytics.past.normal import interval
from analytics.wording import SENTENCES, places, reason_template, reasons_in_words, say
from ingest.units import format_quantity, from_kept
from ingest.wording.language import template

MUCH_PRIOR = 0.6
# What a reason's clauses become, begin and end with, by what else is known.
DOWN, IDLE, NEXT, PAYS = "down", "idle", "next", "pays"
LOW_RISK = 2.0  # times the fleet's own: up to that a reader asks why a pump goes at all


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
    """What each reason is told from, (n,) arrays of n pumps.

    risk_pct and parts_pct (by cause): whole percents from `points`; horizon: text, such as "5,000 mi";
    started: by damage, the chance that it has; n_alike, k_failed: past readings rated like this, and how many
    a failure followed; fleet_pct, fleet_failures: of the whole fleet.
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
    fleet_pct: int
    fleet_failures: int


def reason_columns(g: Grounds) -> dict[str, np.ndarray]:
    """Return the columns that a reason is kept in, (n,) each: `reason_codes`, its clauses with blanks between
    them, and the values of its sentence."""
    n = len(g.risk_pct)
    points_by_cause = {f"points_{name}": part for name, part in g.parts_pct.items()}
    return {
        "reason_codes": _codes(g),
        "risk_pct": g.risk_pct,
        "reason_horizon": g.horizon,
        "fleet_pct": np.full(n, g.fleet_pct),
        "prior_share_pct": np.round(100 * g.prior_share).astype(int),
        "fleet_failures": np.full(n, g.fleet_failures),
    } | points_by_cause


def _codes(g: Grounds) -> np.ndarray:
    worn = _first_that_holds(
        (g.readings < 2, "wear-by-type"),
        (g.speed_falls, "wear-speed-falls"),
        (g.ripple_rises, "wear-ripple-rises"),
        otherwise="wear-usual",
    )
    sources = {"wear": worn} | {name: name + _onset(p) for name, p in g.started.items()}
    parts = np.array([g.parts_pct[name] for name in sources])
    order = np.argsort(-parts, axis=0, kind="stable")
    parts = np.take_along_axis(parts, order, 0)
    codes = np.take_along_axis(np.array(list(sources.values()), object), order, 0)
    likely = _if(g.risk_pct < 100, "risk", "risk-over-99")
    told = _if(g.risk_pct > 0, likely, "risk-under-1") + (" fleet" if g.fleet_pct else " fleet-under-1")
    told = told + _if(parts[0] > 0, _if(parts[0] == 1, " one-point", " points"))
    for part, code in zip(parts, codes, strict=True):
        told = told + _if(part > 0, " " + code)
    return (
        told
        + _if(g.parts_pct["sudden"] > 0, " sudden")
        + _if(g.n_alike > 0, _if(g.k_failed == 1, " alike-one", " alike"))
        + _first_that_holds(
            (g.readings == 0, " no-reading"),
            (g.readings == 1, " one-reading"),
            (g.prior_share > MUCH_PRIOR, " by-type"),
            otherwise="",
        )
        + _few_failures(g.fleet_failures)
        + _if(g.age_known, "", " age-unknown")
        + _first_that_holds((g.restarted, " restarted"), (g.heals, " heals"), otherwise="")
    )


def _onset(p: np.ndarray) -> np.ndarray:
    return _first_that_holds((p > 0.5, ":started"), (p > 0.1, ":may-have-started"), otherwise=":may-start")


def _few_failures(failures: int) -> str:
    if failures >= ENOUGH_FAILURES:
        return ""
    return {0: " no-failure", 1: " one-failure"}.get(failures, " few-failures")


def with_next_step(rows: pd.DataFrame, currency: str) -> pd.DataFrame:
    """Return rows with what follows from each reason added to `reason_codes`, `reason`, the sentence, and
    `pays`, the values that tell why a change pays at a low risk (None elsewhere).

    rows: columns of `reason_columns`, n_alike, k_failed, action, action_text, action_values, status,
    not_working, down_since, finding_text, because, planned, failure, saving, risk_in_a_year. currency: of
    prices.
    """
    failed = (rows["status"] == "failed").to_numpy()
    acts = (rows["action"] != "none").to_numpy() & (rows["action_text"].fillna("") != "").to_numpy()
    codes = _if(rows["not_working"].to_numpy(bool), f"{IDLE} ") + rows["reason_codes"].to_numpy(object)
    words = reasons_in_words(codes, {name: rows[column].to_numpy() for name, column in _places_of(rows)})
    day = pd.to_datetime(rows["down_since"]).dt.strftime("%Y-%m-%d").to_numpy(object)
    finding, action = rows["finding_text"].to_numpy(object), rows["action_text"].to_numpy(object)
    for i in np.flatnonzero(failed):
        words[i] = say(DOWN, day=day[i], finding=finding[i], action=action[i])
    follows = template(SENTENCES[NEXT])
    for i in np.flatnonzero(acts & ~failed):
        words[i] = follows.format(reason=words[i], action=f"{action[i][0].lower()}{action[i][1:]}")
    pays = _why_it_pays(rows, currency)
    told = np.array([values is not None for values in pays], bool)
    for row, values in enumerate(pays):
        if values is not None:
            words[row] = say(PAYS, reason=words[row], **values)
    codes = _if(failed, DOWN, codes + _if(acts, f" {NEXT}") + _if(told, f" {PAYS}"))
    return rows.assign(reason_codes=codes, reason=words, pays=pd.Series(pays, rows.index, object))


def _why_it_pays(rows: pd.DataFrame, currency: str) -> list[dict[str, Any] | None]:
    """Return the values of the sentence why a change ordered on cost alone pays, where the risk is no more
    than LOW_RISK times the fleet's; None elsewhere."""
    low = rows["risk_pct"].to_numpy() <= LOW_RISK * np.maximum(rows["fleet_pct"].to_numpy(), 1)
    asks = low & (rows["status"] != "failed").to_numpy() & (rows["because"] == ON_COST).to_numpy()
    looked = np.array(["share_pct" in values for values in rows["action_values"]], bool)  # a look goes before
    told: list[dict[str, Any] | None] = [None] * len(rows)
    at = np.flatnonzero(asks & looked)
    year_pct = np.round(100 * rows["risk_in_a_year"].to_numpy(float)).astype(int)
    money = {name: rows[column].to_numpy(float) for name, column in _PRICES.items()}
    for row in at.tolist():
        values: dict[str, Any] = {name: float(amount[row]) for name, amount in money.items()}
        told[row] = values | {"year_pct": int(year_pct[row]), "currency": currency}
    return told


_PRICES = {"failure": "failure", "planned": "planned", "saved": "saving"}


def reason_values(rows: pd.DataFrame) -> list[dict[str, Any]]:
    """Return the values of each row's reason by place, as JSON holds them; of the finding and the action that
    it names, see these."""
    column_of = dict(_places_of(rows))
    columns = {name: rows[column].tolist() for name, column in column_of.items()}
    down = pd.to_datetime(rows["down_since"]).dt.strftime("%Y-%m-%d").tolist()
    why = rows["pays"].tolist()
    named: dict[str, list[str]] = {}
    out = []
    for i, codes in enumerate(rows["reason_codes"].tolist()):
        if codes == DOWN:
            out.append({"day": down[i]})
            continue
        if codes not in named:
            clauses = " ".join(code for code in codes.split() if code not in (NEXT, PAYS))
            named[codes] = places(reason_template(clauses))
        out.append({name: columns[name][i] for name in named[codes]} | (why[i] or {}))
    return out


def _places_of(rows: Any) -> list[tuple[str, str]]:
    """Places in a reason's sentence and the columns that fill them."""
    same = ("risk_pct", "fleet_pct", "prior_share_pct", "fleet_failures", "n_alike", "k_failed")
    parts = [name for name in rows if str(name).startswith("points_")]
    return [("horizon", "reason_horizon"), *((name, name) for name in (*same, *parts))]


def _if(holds: np.ndarray, yes: str | np.ndarray, no: str | np.ndarray = "") -> np.ndarray:
    return np.where(holds, np.asarray(yes, object), np.asarray(no, object))


def _first_that_holds(*cases: tuple[np.ndarray, str | np.ndarray], otherwise: str) -> np.ndarray:
    out: str | np.ndarray = otherwise
    for holds, text in reversed(cases):
        out = _if(holds, text, out)
    return np.asarray(out)


def beyond(distance_km: np.ndarray, experience_km: np.ndarray, unit: str) -> list[str]:
    """Show distances left (n,); past what any pump was seen to run: "more than ..., longest seen"."""
    distance = format_quantities(distance_km, unit)
    farther = (distance_km > experience_km) & (experience_km > 0)
    more_than = template(SENTENCES["left-more-than"])
    longest = format_quantities(experience_km[farther], unit)
    distance[farther] = [more_than.format(distance=text) for text in longest]
    distance[experience_km <= 0] = say("left-unknown")
    return distance.tolist()


def format_quantities(value: np.ndarray, unit: str) -> np.ndarray:
    """As ingest.units.format_quantity, for many kept values (n,)."""
    different, back = np.unique(np.round(value, 2), return_inverse=True)
    return np.array([format_quantity(v, unit) for v in different] or [""], object)[back]


def horizons(km: np.ndarray, unit: str) -> np.ndarray:
    """Return distances (n,) in km as horizons are said, "5,000 mi", "8,050 km"."""
    different, back = np.unique(np.round(km, 2), return_inverse=True)
    told = [f"{interval(from_kept(float(v), unit)):,.0f} {unit}" for v in different]
    return np.array(told or [""], object)[back]
