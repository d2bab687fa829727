"""Tests, checks against published values, and benchmarks."""

import ingest  # noqa: F401  first of all, as it holds linear algebra to one thread
