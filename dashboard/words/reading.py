"""A reading and its verdict as plain lines, for the terminal and the printed visit sheet."""

from __future__ import annotations

from analytics.judging.segments import below_others_pct
from analytics.judging.verdict import Verdict
from dashboard.words import formats
from ingest.measuring.sampling import AVERAGE_ONLY
from ingest.reading import Reading

UNTOLD = "can't be told"
ENOUGH = 0.95  # chance above which a speed is told


def reading_lines(reading: Reading, verdict: Verdict | None = None) -> list[str]:
    """Return the figures, the notes and the verdict, a line each, with units and how sure they are."""
    first = [note for note in reading.notes if note.code == AVERAGE_ONLY]
    lines = [
        *(f"note        {note.text} [{note.code}]" for note in first),
        f"average     {_average(reading)}",
        f"ripple      {_ripple(reading)}",
        f"revolution  {_revolution(reading)}",
    ]
    if reading.inrush_peak_a is not None:
        settled = f", settled after {reading.settling_ms:.0f} ms" if reading.settling_ms is not None else ""
        lines.append(f"start       peak {reading.inrush_peak_a:.1f} A{settled}")
    if steadiness := _steadiness(reading):
        lines.append(f"steadiness  {steadiness}")
    below_pct = below_others_pct(reading.segment_profile_pct, reading.weakest_segment)
    if below_pct is not None:
        lines.append(
            f"segments    weakest no. {reading.weakest_segment}, "
            f"{below_pct:.1f} % of average below the others"
        )
    lines += [f"note        {note.text} [{note.code}]" for note in reading.notes if note not in first]
    return lines + (verdict_lines(verdict) if verdict else [])


def verdict_lines(verdict: Verdict) -> list[str]:
    """Return the verdict with the rule cited, what it was held against, the next test and the action."""
    nothing = verdict.action == "none"
    return [
        f"verdict     {verdict.text} [{verdict.rule}]",
        *(f"also        {text}" for text in verdict.also),
        f"            {verdict.compared_with}",
        f"next test   {verdict.next_test if nothing else f'{verdict.action}: {verdict.next_test}'}",
        *([f"action      {verdict.action_text[0].lower()}{verdict.action_text[1:]}"] if nothing else []),
    ]


def _average(reading: Reading) -> str:
    if reading.mean_a is None:
        return UNTOLD
    mean = formats.with_error(reading.mean_a, reading.mean_a_se, "A")
    if reading.min_a is None or reading.max_a is None:
        return mean
    return f"{mean}   lowest {reading.min_a:.2f}, highest {reading.max_a:.2f} A"


def _ripple(reading: Reading) -> str:
    raw = (
        f"plain rule (highest − lowest) / average {reading.raw_ripple_pct:.1f} %"
        if reading.raw_ripple_pct is not None
        else ""
    )
    if reading.ripple_a is None or reading.ripple_pct is None:
        return raw or UNTOLD
    own = f"{reading.ripple_a:.2f} A, {reading.ripple_pct:.1f} % of average (averaged over turns)"
    return f"{own}; {raw}" if raw else own


def _steadiness(reading: Reading) -> str:
    """Return how even the run is: what the verdict of an irregular run rests on."""
    told = []
    if reading.speed_steadiness_pct is not None:
        told.append(f"speed varies by {reading.speed_steadiness_pct:.2f} %")
    if reading.sparks_per_s is not None:
        sparks = f"{reading.sparks_per_s:.1f} sparks a second" if reading.sparks_per_s else "no sparks"
        told.append(sparks)
    return ", ".join(told)


def candidates(reading: Reading) -> str:
    """Return the speeds that a trace allows, the likeliest first, "" for none.

    Their chances stand beside them only where they are why nothing is told: one that is all but sure and yet
    was not told fails for another reason, which a note gives.
    """
    found = sorted(reading.speed_candidates[:4], key=lambda c: -c.probability)
    if found and found[0].probability > ENOUGH:
        return ", ".join(f"{c.rpm:,.0f} rpm" for c in found)
    return ", ".join(f"{c.rpm:,.0f} rpm ({formats.confidence(c.probability)})" for c in found)


def _revolution(reading: Reading) -> str:
    if reading.rpm is None or reading.revolution_ms is None:
        told = candidates(reading)
        repeat = (
            f"; the pattern repeats every {reading.pattern_repeat_ms:.3f} ms"
            if reading.pattern_repeat_ms
            else ""
        )
        return UNTOLD + (f"; possible: {told}" if told else "") + repeat
    turn_se_ms = reading.revolution_ms * (reading.rpm_se or 0.0) / reading.rpm
    digits = 3 if turn_se_ms < 0.001 else 2 if turn_se_ms < 0.01 else 1
    rpm = formats.with_error(reading.rpm, reading.rpm_se, "rpm", 0)
    bars = f", {reading.segments} segments" if reading.segments else ""
    sure = (
        f", {formats.confidence(reading.speed_confidence)} sure"
        if reading.speed_confidence is not None
        else ""
    )
    return f"{reading.revolution_ms:.{digits}f} ms → {rpm}{bars}{sure}"
