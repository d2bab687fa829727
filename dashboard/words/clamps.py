"""What a measurement study says, in lines."""

from __future__ import annotations

from ingest.checking.gauge_study import GaugeStudy, Source


def study_lines(study: GaugeStudy) -> list[str]:
    """Return the table of a study and what follows from it."""
    lines = [f"{'source':<13}{'squares':>12}{'freedom':>9}{'mean square':>13}"]
    for source in (study.technician, study.pump, study.interaction, study.residual):
        lines.append(_line(source))
    pooled = ", counted as residual" if study.pooled else ""
    lines.append(f"Technician by pump: p = {study.interaction_p:.3f}{pooled}.")
    lines.append(
        f"Repeatability {study.repeatability_sd:.3g} A, reproducibility {study.reproducibility_sd:.3g} A, "
        f"together {study.gauge_sd:.3g} A (standard deviations); between pumps {study.pump_sd:.3g} A."
    )
    lines.append(
        f"Measuring makes {study.gauge_share_pct:.0f} % of the spread. A measurement keeps within "
        f"{study.accuracy_a:.2g} A 19 times of 20, offset of the clamp apart."
    )
    return lines


def _line(source: Source) -> str:
    return f"{source.name:<13}{source.squares:>12.4g}{source.freedom:>9}{source.mean_square:>13.4g}"
