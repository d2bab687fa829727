"""Readings over mileage -> drift, risk, remaining life, cost and plan. Reads the ledger, never files.

Public functions: `fit`, `rank`, `plan`. Heavy imports wait until one is called.
"""

from importlib import import_module
from typing import Any

_PUBLIC = {
    "fit": "analytics.learning.fitting",
    "rank": "analytics.risk.ranking",
    "plan": "analytics.scheduling.planning",
}
__all__ = ["fit", "plan", "rank"]


def __getattr__(name: str) -> Any:
    if name in _PUBLIC:
        return getattr(import_module(_PUBLIC[name]), name)
    raise AttributeError(f"module 'analytics' has no attribute {name!r}")
