"""What was learned from a history, kept for the session: many tests learn from the same small fleets.

Learning is pure and takes seconds, so the same history gives the same fit. Where learning itself is tried
(LEARNED_ANEW), it is done each time.
"""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Callable
from pathlib import Path

from analytics.learning import fitting
from analytics.learning.fitting import Fit
from analytics.past.history import History

FOLDER = "TESTS_KEEP_FITS_IN"  # the folder's name in the environment, which workers share
LEARNED_ANEW = tuple(
    f"tests/{name}" for name in ("learning", "wear_model", "golden", "checks", "test_settings_read")
)


def keep_fits() -> None:
    """Have `fit_history` look in the folder first; before any other module takes it by name."""
    fitting.fit_history = kept(fitting.fit_history)


def kept(learn: Callable[[History], Fit]) -> Callable[[History], Fit]:
    """Return `learn`, what it returned for an equal history being taken from the folder."""

    def fit_history(history: History) -> Fit:
        if os.environ.get("PYTEST_CURRENT_TEST", "").startswith(LEARNED_ANEW):
            return learn(history)
        told = (history.visits, history.pumps, history.as_of, sorted(map(str, history.settings.items())))
        path = Path(os.environ[FOLDER]) / hashlib.sha256(pickle.dumps(told)).hexdigest()
        if not path.exists():
            part = path.with_suffix(f".{os.getpid()}")
            part.write_bytes(pickle.dumps(learn(history)))
            part.replace(path)
        made: Fit = pickle.loads(path.read_bytes())
        return made

    return fit_history
