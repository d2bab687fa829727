"""What was learned from a history, and the lives simulated from a fit, kept for the session: many tests learn
from the same small fleets and ask the same of them.

Both are pure and take seconds, so the same question gets the same answer. Where learning or simulating itself
is tried (DONE_ANEW), it is done each time.
"""

from __future__ import annotations

import hashlib
import os
import pickle
from collections.abc import Callable
from pathlib import Path
from typing import Any

from analytics.money import policy_simulation

FOLDER = "TESTS_KEEP_FITS_IN"  # the folder's name in the environment, which workers share
DONE_ANEW = tuple(
    f"tests/{name}" for name in ("learning", "wear_model", "golden", "checks", "money", "test_settings_read")
)


def keep_fits() -> None:
    """Have simulating and learning look in the folder first; before any other module takes them by name."""
    policy_simulation.simulate = kept(
        policy_simulation.simulate, lambda p, asked: (p.to_json(), tuple(asked))
    )
    policy_simulation.simulate_life_km = kept(
        policy_simulation.simulate_life_km,
        lambda p, code, interval_km, count, rng: (
            p.to_json(), code, interval_km, count, rng.bit_generator.state
        ),
    )  # fmt: skip
    from analytics.learning import fitting

    fitting.fit_history = kept(
        fitting.fit_history,
        lambda of: (of.visits, of.pumps, of.as_of, sorted(map(str, of.settings.items()))),
    )


def kept(work: Callable[..., Any], told: Callable[..., object]) -> Callable[..., Any]:
    """Return `work`, what it returned for arguments of which `told` says the same being taken from the
    folder."""

    def look_first(*asked: Any) -> Any:
        if os.environ.get("PYTEST_CURRENT_TEST", "").startswith(DONE_ANEW):
            return work(*asked)
        path = Path(os.environ[FOLDER]) / hashlib.sha256(pickle.dumps(told(*asked))).hexdigest()
        if not path.exists():
            part = path.with_suffix(f".{os.getpid()}")
            part.write_bytes(pickle.dumps(work(*asked), protocol=5))
            part.replace(path)
        return pickle.loads(path.read_bytes())

    return look_first
