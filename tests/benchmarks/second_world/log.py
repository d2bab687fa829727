"""What happens, written down as it happens: chunks of columns, joined when someone asks.

Each row keeps the day on which it was recorded, so that tables as of a day hold only what was known then.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from .causes import CAUSES, CONNECTOR, HOSE, REGULATOR, STRAINER
from .fleet import Fleet
from .lives import Lives

EVENTS = (
    "planned stop",
    "complaint",
    "extra stop",
    "failure",
    "breakdown beside the pump",
    "check",
    "change",
)
MONEY = (
    "planned change",
    "check, tank closed",
    "check, tank open",
    "extra stop",
    "part returned",
    "failure",
    "comeback",
    "breakdown beside the pump",
    "failure beside the pump",
)
NAMES = ("visits", "services", "breakdowns", "fitted", "removed", "events", "money", "checks")


class Log:
    """Chunks by table."""

    def __init__(self) -> None:
        self.chunks: dict[str, list[dict[str, np.ndarray]]] = {name: [] for name in NAMES}
        self._joined: dict[str, tuple[int, dict[str, np.ndarray]]] = {}

    def copy(self) -> Log:
        """A branch; chunks are never changed, so they are shared."""
        other = Log()
        other.chunks = {name: list(chunks) for name, chunks in self.chunks.items()}
        other._joined = dict(self._joined)
        return other

    def columns(self, name: str) -> dict[str, np.ndarray]:
        """All of a table, joined; cheap if little came since the last time."""
        done, joined = self._joined.get(name, (0, {}))
        fresh = self.chunks[name][done:]
        if fresh:
            parts = ([joined] if joined else []) + fresh
            joined = {key: np.concatenate([part[key] for part in parts]) for key in fresh[0]}
            self._joined[name] = (len(self.chunks[name]), joined)
        return joined

    def mark(self) -> tuple[int, int]:
        """Where the log stands."""
        return len(self.chunks["events"]), len(self.chunks["money"])

    def since(self, mark: tuple[int, int], fleet: Fleet) -> tuple[pd.DataFrame, pd.DataFrame, pd.DataFrame]:
        """Events, money and stops after a mark."""
        events = _frame(self.chunks["events"][mark[0] :], ("day", "u", "what", "pump", "detail"), fleet)
        money = _frame(self.chunks["money"][mark[1] :], ("day", "u", "what", "amount"), fleet)
        stops = events[events["what"].isin(EVENTS[:3])]
        stops = stops[["unit", "day", "what"]].rename(columns={"what": "reason"}).reset_index(drop=True)
        return events, money, stops

    def frame(self, name: str, fleet: Fleet) -> pd.DataFrame:
        """All events or money."""
        keys = ("day", "u", "what", "amount") if name == "money" else ("day", "u", "what", "pump", "detail")
        return _frame(self.chunks[name], keys, fleet)

    # ------------------------------------------------------------------ entries
    def spend(self, u, day, what, amount) -> None:
        """Money of a policy."""
        if u.size:
            code = _code(MONEY, what, u.shape)
            amount = np.broadcast_to(amount, u.shape).astype(float)
            self.chunks["money"].append(
                {"day": day.astype(int), "u": u.copy(), "what": code, "amount": amount}
            )

    def happen(self, u, day, what, pump, detail) -> None:
        """An event, true whether or not anyone records it."""
        if u.size:
            code = _code(EVENTS, what, u.shape)
            detail = np.broadcast_to(detail, u.shape).astype(int)
            self.chunks["events"].append(
                {"day": day.astype(int), "u": u.copy(), "what": code, "pump": pump.copy(), "detail": detail}
            )

    def visit(self, fleet: Fleet, u, day, reason, told, pump, extra=None) -> None:
        """One row of visits; nothing where nothing was written down. Codes: see records."""
        luck, day_i = fleet.luck, day.astype(int)
        extra = extra or {}
        late = luck.uniform("visit-late", u, day_i)
        row = {
            "u": u.copy(),
            "day": day_i,
            "recorded": day_i + np.where(late < 0.85, 0, np.ceil(3 * (late - 0.85) / 0.15)).astype(int),
            "odometer": np.round(fleet.odometer(u, day)),
            "reason": reason.astype(int),
            "pump": pump.copy(),
            "check_result": np.full(u.size, -1),
            **{name: np.full(u.size, -1) for name in ("strainer", "hose", "regulator", "connector")},
        }
        row.update({k: v for k, v in told.items()})
        row.update(extra)
        self.chunks["visits"].append(row)

    def check(self, fleet: Fleet, u, day, told, pump, named, opened, result) -> None:
        """A check: a follow-up visit with what was looked at. Parts: 0 good, 1 bad, 2 not reached."""
        extra = {"check_result": np.where(result >= 0, result + 2, np.where(result == -2, 1, 0))}
        for name, cause in (("strainer", STRAINER), ("hose", HOSE), ("regulator", REGULATOR)):
            extra[name] = np.where(named == cause, 1, np.where(opened, 0, 2))
        extra["connector"] = np.where(named == CONNECTOR, 1, np.where(opened, 0, 2))
        extra["recorded"] = day.astype(int)
        self.visit(fleet, u, day, np.full(u.size, 1), told, pump, extra)

    def checked(self, u, day, job, pump, there, named, truly, opened, changed) -> None:
        """The truth of a check: severities by cause before it, what was named and whether truly."""
        row = {"u": u, "day": day.astype(int), "job": job, "pump": pump, "there": there, "named": named}
        row.update({"truly": truly, "opened": opened, "changed": changed})
        self.chunks["checks"].append({key: value.copy() for key, value in row.items()})

    def service(self, fleet: Fleet, u, day, cause) -> None:
        """Work done."""
        if u.size:
            day_i = day.astype(int)
            self.chunks["services"].append(
                {
                    "u": u.copy(),
                    "day": day_i,
                    "recorded": day_i + 1,
                    "odometer": np.round(fleet.odometer(u, day)),
                    "work": cause.astype(int),
                }
            )

    def breakdown(self, fleet: Fleet, u, day, word, cost, silent) -> None:
        """A breakdown, unless the depot reports none. word: 0 yes, 1 unknown, 2 no."""
        keep = ~silent
        u, day, word, cost = u[keep], day[keep], word[keep], cost[keep]
        if u.size:
            day_i = day.astype(int)
            delay = np.ceil(4 * fleet.luck.exponential("breakdown-late", u, day_i)).astype(int)
            self.chunks["breakdowns"].append(
                {
                    "u": u,
                    "day": day_i,
                    "recorded": day_i + delay,
                    "odometer": np.round(fleet.odometer(u, day)),
                    "word": word,
                    "cost": np.round(cost),
                }
            )

    def fitted(self, fleet: Fleet, u, day, lives: Lives, lost, at_once: bool, first: bool = False) -> None:
        """A pump fitted. lost: never written down; at_once: in the books that day; first: at day 0."""
        day_i = day.astype(int)
        delay = np.zeros(u.size, int) if first or at_once else _paper(fleet, u, day_i)
        self.chunks["fitted"].append(
            {
                "u": u.copy(),
                "day": day_i,
                "recorded": np.maximum(day_i + delay, 0),
                "number": lives.number.copy(),
                "design": lives.design.copy(),
                "lot": lives.lot.copy(),
                "odometer": np.round(fleet.odometer(u, day)),
                "lost": lost.copy(),
                "first": np.full(u.size, first),
                "mechanism": lives.mechanism.copy(),
                "fail_day": lives.fail_day.copy(),
                "is_bad": lives.is_bad.copy(),
            }
        )

    def removed(self, fleet: Fleet, u, day, number, removal, found, lost, failed, at_once: bool) -> None:
        """A pump taken off. removal: 0 failed, 1 on_condition, 2 opportunity, 3 other."""
        day_i = day.astype(int)
        delay = np.zeros(u.size, int) if at_once else _paper(fleet, u, day_i)
        bench = delay + 10 + (35 * fleet.luck.uniform("bench-days", u, number)).astype(int)
        self.chunks["removed"].append(
            {
                "u": u.copy(),
                "day": day_i,
                "recorded": day_i + delay,
                "number": number.copy(),
                "odometer": np.round(fleet.odometer(u, day)),
                "removal": removal.astype(int),
                "found": found,
                "bench": day_i + bench,
                "lost": lost.copy(),
                "failed": np.full(u.size, failed),
            }
        )


def _code(words: tuple[str, ...], what: str | np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    if isinstance(what, str):
        return np.full(shape, words.index(what))
    return np.array([words.index(word) for word in what], dtype=int)


def _paper(fleet: Fleet, u, day_i) -> np.ndarray:
    """Days until a change is in the books: most at once, some a week or two later."""
    late = fleet.luck.uniform("paper-late", u, day_i)
    return np.where(late < 0.7, 0, np.ceil(14 * (late - 0.7) / 0.3)).astype(int)


def _frame(chunks: list[dict[str, np.ndarray]], keys: tuple[str, ...], fleet: Fleet) -> pd.DataFrame:
    columns = {
        key: np.concatenate([chunk[key] for chunk in chunks]) if chunks else np.empty(0, int) for key in keys
    }
    words = np.array(MONEY if "amount" in keys else EVENTS)
    columns["unit"] = fleet.names[columns.pop("u").astype(int)]
    columns["what"] = words[columns["what"].astype(int)]
    frame = pd.DataFrame(columns).sort_values(["day", "unit"], kind="stable", ignore_index=True)
    return frame[["day", "unit", *[key for key in keys if key not in ("day", "u")]]]


__all__ = ["CAUSES", "EVENTS", "MONEY", "Log"]
