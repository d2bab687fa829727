"""A trace under slow disorder: brushes that lift and a running engine leave power that falls with frequency.

There the strongest lines are the disorder's, and the ripple stands out only from what lies beside it. So the
spectrum is divided by its own floor up to the first of the lines that stand highest above the floor, and left
as it is beyond. That is a linear filter without delay: what repeats every turn still does, order by order.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import fft

from ingest.measuring.order_tracking import WorkTrace
from ingest.measuring.speed_lines import HIGHEST_HZ

BAND_HZ, FEWEST_BINS = 200.0, 24  # in which the floor is the median: wider than a line is
STANDS_OUT = 0.2  # of the highest line, power over the floor
SLOWEST_HZ = 150.0  # below lies no ripple of a pump


def whitened(work: WorkTrace) -> WorkTrace:
    """The trace with the floor of its spectrum made level below the first line that stands well above it."""
    n = len(work.y)
    y = work.y - work.y.mean()
    size = fft.next_fast_len(2 * n, real=True)
    power = np.abs(fft.rfft(y * np.hanning(n), size)) ** 2
    hz = np.arange(len(power)) * work.rate_hz / size
    width = max(int(BAND_HZ / work.rate_hz * size), FEWEST_BINS)
    starts = np.arange(0, max(len(power) - width, 1), max(width // 2, 1))
    medians = np.array([np.median(power[s : s + width]) for s in starts])
    floor = np.exp(np.interp(hz, hz[0] + (starts + width / 2) * hz[1], np.log(medians + 1e-30)))
    keep = (hz > SLOWEST_HZ) & (hz < min(work.usable_hz, HIGHEST_HZ))
    above = np.where(keep, power / floor, 0.0)
    level = floor[int(np.argmax(above > STANDS_OUT * above.max()))]
    gain = np.sqrt(level / np.maximum(floor, level))
    return replace(work, y=fft.irfft(fft.rfft(y, size) * gain, size)[:n])
