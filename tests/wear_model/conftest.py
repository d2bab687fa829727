"""As in tests/learning: fits are made without the lives simulated under the cost rule."""

from tests.learning.conftest import no_long_run

__all__ = ["no_long_run"]
