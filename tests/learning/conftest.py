"""What is learned of readings and failures is tested here, without what the cost rule then makes of it."""

import numpy as np
import pytest

from analytics.learning import fitting
from analytics.money.long_run import RATIOS, LongRun


@pytest.fixture(scope="module", autouse=True)
def no_long_run():
    """They come last and nothing is learned from them; tests/money has them."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(fitting, "learn_long_run", lambda history, p: LongRun(("",), np.ones((1, len(RATIOS)))))
        yield
