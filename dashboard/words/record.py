"""Words and tables of the forecast record, for the page and the terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from dashboard.words import formats

if TYPE_CHECKING:
    import pandas as pd

METHODS = (
    "AUC: chance that a pump that failed was rated above one that didn't (0.5: no better than a coin). "
    "Brier and log: smaller is better. Skill: share of the Brier score saved against telling everybody the "
    "average; below 0 it is worse than that. Slope: 1 is right, below 1 the risks stated are too far apart. "
    "Top tenth: failures among the tenth rated highest."
)
LIFE_RANGES = (
    "Each life counts once, by its first forecast. Those that have not ended, or were taken off, count as "
    "far as they ran; ± is the 95 % range. Where none was followed to its 90 % point, those followed less "
    "far stand for them in proportion. It takes 60 ended lives."
)
MOST_SLOPE = 20  # the fit runs off to any number where there is none


def methods_heading(scores: pd.DataFrame) -> str:
    """Return on how many forecasts, and failures, the methods were compared."""
    first = scores.iloc[0]
    return (
        f"Against plain rules, on the {first['n']:,d} forecasts after the first day"
        f" ({first['failures']:,d} met a failure)"
    )


def is_slope(slope: Any) -> Any:
    """Return whether a number, or each of many, is one: a rule that says only yes or no has none."""
    return abs(slope) < MOST_SLOPE


def method_table(scores: pd.DataFrame) -> pd.DataFrame:
    """Return the methods' scores under headings that `METHODS` explains."""
    import pandas as pd

    from analytics.past.normal import Z_95

    return pd.DataFrame(
        {
            "Method": scores["label"],
            "AUC": scores["auc"].round(3),
            "± 95 %": (Z_95 * scores["auc_se"]).round(3),
            "Brier": scores["brier"].round(4),
            "Skill": scores["skill"].round(2),
            "Log": scores["log_score"].round(3),
            "Slope": scores["calibration_slope"].where(is_slope(scores["calibration_slope"])).round(2),
            "Expected": scores["expected"].round(1),
            "Top tenth": [
                f"{hits} of {n}"
                for hits, n in zip(scores["top_decile_hits"], scores["top_decile_n"], strict=True)
            ],
        }
    )


def coverage_table(coverage: pd.DataFrame) -> pd.DataFrame:
    """Return how many lives the 80 % ranges held, by readings the pump had by then."""
    import pandas as pd

    return pd.DataFrame(
        {
            "Readings by then": coverage["readings"],
            "Lives": coverage["n"],
            "Ended": coverage["ended"],
            "Inside": [held_text(row) for row in coverage.to_dict("records")],
        }
    )


def held_text(row: Mapping[Any, Any]) -> str:
    """Return how many lives an 80 % range held, with its 95 % range, or why that can't be told."""
    from analytics.past.normal import Z_95
    from analytics.record.life_ranges import ENOUGH_ENDED

    if formats.is_unknown(row["coverage"]):
        return "too few ended" if row["ended"] < ENOUGH_ENDED else "none followed far enough"
    return f"{100 * row['coverage']:.0f} ± {100 * Z_95 * row['coverage_se']:.0f} %"


def acting_line(found: Any) -> str:
    """Return what acting on the lists of the past days would have cost and saved."""
    from analytics.record.conclusion import acting_words

    unit = found.distance_unit
    return acting_words(
        found.acting, f"{formats.about(formats.in_unit(found.acting.given_up_km, unit))} {unit}"
    )


def forecast_rows(forecasts: pd.DataFrame, unit: str) -> pd.DataFrame:
    """Return past forecasts in the fleet's own unit, by unit and day, without numbers of rows
    (docs/pages.md)."""
    distances = [name for name in forecasts if str(name).endswith("_km") and name != "cost_per_km"]
    out = forecasts.copy()
    for name in distances:
        out[name] = formats.in_unit(out[name], unit)
    out["cost_per_km"] = out["cost_per_km"] * formats.in_unit(1.0, unit) ** -1
    names = {name: str(name).removesuffix("_km") + f"_{unit}" for name in distances}
    return out.drop(columns=["pump_id"]).rename(columns=names | {"cost_per_km": f"cost_per_{unit}"})


def acted_lines(a: dict[str, int]) -> list[str]:
    """Return what strip-downs showed and what became of the riskiest tenth; none where nobody acted."""
    if not a["taken_off_on_condition"] and not a["flagged_and_left"] + a["flagged_and_taken_off"]:
        return []
    return [
        f"Taken off on condition, in the whole record: {a['taken_off_on_condition']:,d} "
        f"({a['confirmed_on_strip_down']:,d} confirmed on strip-down, {a['tested_good']:,d} tested good, "
        f"{a['not_examined']:,d} not examined).",
        f"Of the riskiest tenth on each past day {a['flagged_and_left']:,d} were left in, and "
        f"{a['flagged_and_left_failed']:,d} of them failed before the next visit was due; "
        f"{a['flagged_and_taken_off']:,d} were taken off unfailed "
        f"({a['flagged_and_taken_off_confirmed']:,d} confirmed, "
        f"{a['flagged_and_taken_off_tested_good']:,d} tested good).",
    ]
