"""A second world to judge measuring by: motors stepped through time, made without the method in view.

`generate(seed, count, kind)` gives captures with their ground truth; KINDS names the kinds.
"""

from tests.benchmarks.time_domain.generating import KINDS, Capture, generate
from tests.benchmarks.time_domain.truth import Truth

__all__ = ["KINDS", "Capture", "Truth", "generate"]
