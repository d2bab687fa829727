"""A measurement study: technicians measure the same pumps several times; what of the spread is the measuring?

Analysis of variance of a two-way crossed random model with interaction (NIST/SEMATECH e-Handbook of
Statistical Methods, 3.2.3.2, for the sums of squares; AIAG, Measurement Systems Analysis, for the rest):

    sigma^2 repeat = MS_residual
    sigma^2 interaction = (MS_interaction - MS_residual) / repeats
    sigma^2 technician = (MS_technician - MS_interaction) / (pumps * repeats)
    sigma^2 pump = (MS_pump - MS_interaction) / (technicians * repeats)

negative ones being 0. Where the interaction is no larger than chance makes it (p above 0.25, as the AIAG
manual has it), it is pooled with the residual.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd
from scipy import special

from ingest.errors import EntryRefused
from ingest.units import parse_quantity

POOL_ABOVE_P = 0.25


@dataclass(frozen=True)
class Source:
    """One line of the table: sum of squares, degrees of freedom, mean square."""

    name: str
    squares: float
    freedom: int

    @property
    def mean_square(self) -> float:
        """The sum of squares by degree of freedom."""
        return self.squares / self.freedom


@dataclass(frozen=True)
class GaugeStudy:
    """The table and what follows, standard deviations in the unit of the measurements.

    repeatability_sd: one technician measuring one pump again; reproducibility_sd: between technicians;
    gauge_sd: both; pump_sd: between pumps. pooled: the interaction counts as residual.
    """

    technician: Source
    pump: Source
    interaction: Source
    residual: Source
    interaction_p: float
    pooled: bool
    repeatability_sd: float
    reproducibility_sd: float
    pump_sd: float
    mean: float

    @property
    def gauge_sd(self) -> float:
        """What measuring adds to the spread."""
        return float(np.hypot(self.repeatability_sd, self.reproducibility_sd))

    @property
    def gauge_share_pct(self) -> float:
        """The gauge's share of the whole standard deviation, percent."""
        whole = np.hypot(self.gauge_sd, self.pump_sd)
        return float(100 * self.gauge_sd / whole) if whole else 0.0

    @property
    def accuracy_a(self) -> float:
        """Half-width that a measurement keeps within 19 times of 20, two standard deviations."""
        return 2 * self.gauge_sd


def gauge_study(values: np.ndarray) -> GaugeStudy:
    """Return the study of measurements, shape (technicians, pumps, repeats).

    Raises EntryRefused for fewer than two of any, or a value that is no number.
    """
    if values.ndim != 3 or min(values.shape) < 2:
        raise EntryRefused(
            "study-small",
            "A study needs two technicians, two pumps and two repeats at least, each with each.",
        )
    if not np.isfinite(values).all():
        raise EntryRefused("study-gaps", "A measurement of the study is missing or no number.")
    people, pumps, repeats = values.shape
    grand = values.mean()
    by_person, by_pump, cell = values.mean((1, 2)), values.mean((0, 2)), values.mean(2)
    within = cell - by_person[:, None] - by_pump + grand
    person = Source("technician", pumps * repeats * float(((by_person - grand) ** 2).sum()), people - 1)
    pump = Source("pump", people * repeats * float(((by_pump - grand) ** 2).sum()), pumps - 1)
    both = Source("interaction", repeats * float((within**2).sum()), (people - 1) * (pumps - 1))
    rest = Source("residual", float(((values - cell[:, :, None]) ** 2).sum()), people * pumps * (repeats - 1))
    f = both.mean_square / rest.mean_square if rest.squares else np.inf
    p = float(special.fdtrc(both.freedom, rest.freedom, f)) if both.squares else 1.0
    pooled = p > POOL_ABOVE_P
    if pooled:
        noise = (both.squares + rest.squares) / (both.freedom + rest.freedom)
        against, variance_both = noise, 0.0
    else:
        noise, against = rest.mean_square, both.mean_square
        variance_both = max(both.mean_square - rest.mean_square, 0.0) / repeats
    variance_person = max(person.mean_square - against, 0.0) / (pumps * repeats)
    variance_pump = max(pump.mean_square - against, 0.0) / (people * repeats)
    return GaugeStudy(
        person, pump, both, rest, p, pooled,
        repeatability_sd=float(np.sqrt(noise)),
        reproducibility_sd=float(np.sqrt(variance_person + variance_both)),
        pump_sd=float(np.sqrt(variance_pump)),
        mean=float(grand),
    )  # fmt: skip


def study_from(rows: pd.DataFrame) -> GaugeStudy:
    """Return the study in a table with the columns technician, pump and measured, a row a measurement.

    Raises EntryRefused where a column is missing, a value is no number, or not everybody measured every pump
    equally often.
    """
    for name in ("technician", "pump", "measured"):
        if name not in rows:
            raise EntryRefused(
                "study-column", f"A study has the columns technician, pump, measured; {name} is missing."
            )
    measured = pd.Series(
        [_measured(value, row) for row, value in enumerate(rows["measured"], start=2)], rows.index, float
    )
    counts = rows.groupby(["technician", "pump"]).size().unstack()
    if counts.isna().any().any() or counts.to_numpy().min() != counts.to_numpy().max():
        raise EntryRefused("study-uneven", "Everybody has to measure every pump the same number of times.")
    ordered = measured.loc[rows.sort_values(["technician", "pump"], kind="stable").index]
    return gauge_study(ordered.to_numpy(float).reshape(*counts.shape, -1))


def _measured(value: object, row: int) -> float:
    """Return one measurement, with a decimal comma or an A behind it too; row: as a spreadsheet counts."""
    if isinstance(value, int | float | np.number):
        return float(value)
    if not str(value).strip():
        raise EntryRefused("study-gaps", f"Row {row} of the study: measured is missing.")
    return parse_quantity(str(value), "current", default_unit="A", field=f"Row {row} of the study, measured")
