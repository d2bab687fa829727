"""One known waveform rendered in many dialects; each scenario function is named after its shape."""

from tests.readers.dialects import cells, encodings, formats, headers, plain, timebases, values
from tests.readers.dialects.scenario import SCENARIOS, Scenario

__all__ = [
    "SCENARIOS",
    "Scenario",
    "cells",
    "encodings",
    "formats",
    "headers",
    "plain",
    "timebases",
    "values",
]
