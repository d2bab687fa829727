"""The pages: their addresses, names and who works with them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from dashboard.serving.sessions import ROLES

VIEWS = Path(__file__).parents[1] / "views"


@dataclass(frozen=True)
class PageEntry:
    """One page: `address` is the path in the browser (never changes), `view` its folder under views/."""

    address: str
    title: str
    view: str
    roles: tuple[str, ...] = ROLES

    @property
    def path(self) -> Path:
        """The view's script."""
        return VIEWS / self.view / "page.py"


PAGES = {
    page.view: page
    for page in (
        PageEntry("", "Today", "today"),
        PageEntry("log-visit", "Log a visit", "log_visit"),
        PageEntry("tray", "Tray", "tray"),
        PageEntry("pumps-by-risk", "Pumps by risk", "pumps_by_risk"),
        PageEntry("pump", "Pump history", "pump_history"),
        PageEntry("plan-board", "Plan board", "plan_board", ("planner", "manager")),
        PageEntry("costs", "Costs", "costs", ("planner", "manager")),
        PageEntry("forecast-record", "Forecast record", "forecast_record", ("planner", "manager")),
        PageEntry("fleet-data", "Fleet data", "fleet_data"),
        PageEntry("open-questions", "Open questions", "open_questions"),
    )
}


def pages_for(role: str | None) -> list[PageEntry]:
    """Return the pages of a role, in menu order; None (no sign-in in use) means all of them."""
    return [page for page in PAGES.values() if role is None or role in page.roles]
