"""What is remarked of a record while it is measured: what is wrong with it, and what to change."""

from __future__ import annotations

from ingest.wording.quantities import rate_words, signed
from ingest.wording.sentence import note


@note("average-only", "warning")
def average_only(rate_hz: float, too_slow: bool) -> str:
    """A rate at which nothing but the average can be told: too slow for ripple, else too fast."""
    which = "too slow for ripple" if too_slow else "too fast to hold a turn of a pump"
    return (
        f"At {rate_words(rate_hz, 3)} the record is {which}, so only the average is told: "
        "capture at 20 kS/s to 1 MS/s, 100 ms or more."
    )


@note("last-part-measured", "info")
def last_part_measured(runs_s: float, measured_s: float) -> str:
    """A run of which only the end is measured."""
    return f"The pump runs for {runs_s:,.0f} s in the record; the last {measured_s:.0f} s were measured."


@note("ac-coupled", "warning", "run")
def ac_coupled() -> str:
    """A run without a mean."""
    return "The mean is nothing beside the swing: clamp or input are AC-coupled; set both to DC."


@note("brushless", "info")
def brushless() -> str:
    """A pump without ripple to tell its speed."""
    return "A brushless pump has no commutator: its speed can't be told from ripple."


@note("zero-unverified", "warning")
def zero_unverified() -> str:
    """No off stretch."""
    return (
        "No stretch with the pump off is in the record, so the clamp's zero is unverified: "
        "zero the clamp, and start the record before the pump is switched on."
    )


@note("zero-corrected", "info")
def zero_corrected(zero_a: float) -> str:
    """An off stretch that is not at zero."""
    return f"With the pump off the record shows {signed(zero_a, 3)} A; this was subtracted."


@note("zero-verified", "info")
def zero_verified(zero_a: float) -> str:
    """An off stretch at zero."""
    return f"With the pump off the record shows {signed(zero_a, 3)} A: the zero is right."


@note("clipped", "warning")
def clipped(share: float) -> str:
    """Flat tops; share: of the samples."""
    return (
        f"{100 * share:.1f} % of samples sit at the end of the range: average and "
        "ripple are off. Take a wider range and capture again."
    )


@note("range-too-coarse", "warning", "ripple")
def ripple_coarse(steps: float, step_a: float) -> str:
    """A ripple of few quantisation steps."""
    return (
        f"The ripple is only {steps:.1f} steps of {1000 * step_a:.3g} mA: "
        "take a narrower range, or the clamp's 100 mV/A setting, and capture again."
    )


@note("range-too-coarse", "warning", "speed")
def speed_coarse(steps: float) -> str:
    """And one of too few."""
    return (
        f"The ripple is only {steps:.1f} steps high, too coarse to tell the speed: "
        "take a narrower range and capture again."
    )


@note("mains-hum", "warning", "beside")
def mains_beside(line_hz: float, mains_hz: float) -> str:
    """Hum beside the ripple."""
    return (
        f"A line at {line_hz:.1f} Hz looks like {mains_hz:.0f} Hz mains hum: keep leads and clamp away "
        "from chargers and mains cables, and capture again."
    )


@note("mains-hum", "warning", "strongest")
def mains_strongest(line_hz: float) -> str:
    """Hum above everything else."""
    return (
        f"The strongest line, {line_hz:.1f} Hz, is a multiple of the mains frequency: a mains-fed supply, "
        "hum or a switched drive hides the ripple. Capture again on the vehicle's battery, away from mains "
        "cables."
    )


@note("pwm-found", "info", "another-line")
def drive_line(line_hz: float) -> str:
    """A line beside the shaft's where the supply is known to be switched."""
    return f"A line at {line_hz:.0f} Hz is the drive's too."


@note("pwm-found", "warning", "suspected")
def drive_suspected(line_hz: float, rate_hz: float) -> str:
    """A line beside the shaft's where the supply is not told."""
    return (
        f"A line at {line_hz:.0f} Hz does not follow the shaft: the drive seems to be switched, or it is a "
        f"faster line folded down by sampling at {rate_hz:.0f} samples a second."
    )


@note("pwm-found", "info", "taken-out")
def drive_taken_out(clock_hz: float) -> str:
    """The drive's clock."""
    return f"The drive switches at about {clock_hz:.0f} Hz; this was taken out."


@note("pwm-found", "warning", "left-over")
def beside_a_clock(rpm: float, clock_hz: float) -> str:
    """A turn that may be what the drive's clock left."""
    return (
        f"The drive switches at about {clock_hz:.0f} Hz. The turn found beside it, {rpm:.0f} rpm, is too "
        "faint or too fast for a pump that a drive slows: it may be what the clock left. Record again at "
        "twice the sample rate or more."
    )


@note("pwm-found", "info", "fast")
def drive_fast(line_hz: float) -> str:
    """A clock too fast to disturb the speed."""
    return (
        f"A line at {line_hz:.0f} Hz, faster than ripple, shows that the drive is switched: compare means "
        "only at equal duty and pressure."
    )


@note("pwm-found", "warning", "interrupted")
def current_interrupted(times_hz: float) -> str:
    """The current falls to nothing many times a second."""
    return (
        f"The current falls to next to nothing and rises again {times_hz:.0f} times a second: a pulsed "
        "supply, or a dead commutator bar. Say how the pump is fed (--supply direct or pwm), or capture "
        "again with the pump fed directly."
    )


@note("pwm-found", "warning", "strongest")
def drive_strongest(line_hz: float) -> str:
    """The line that tells the speed may be the drive's."""
    return (
        f"The strongest line, {line_hz:.1f} Hz, may be a switched drive's own, so it tells no speed: "
        "capture again with the pump fed directly."
    )


@note("alternator-suspected", "warning")
def alternator_suspected(line_hz: float) -> str:
    """A line where alternators ripple."""
    return (
        f"A line at {line_hz:.0f} Hz does not follow the shaft: alternator ripple, or a switched drive. "
        "Capture again with the engine off, during the key-on prime."
    )


@note("engine-suspected", "warning")
def engine_suspected(line_hz: float) -> str:
    """A running engine's dips, which may pass for a turn as long as the segments are not told."""
    return (
        f"A line at {line_hz:.0f} Hz that does not follow the shaft looks like a running engine's, which may "
        "pass for the pump's turn: capture again with the engine off, during the key-on prime, or say how "
        "many segments the pump has."
    )


@note("engine-suspected", "warning", "firing")
def firing_suspected(line_hz: float) -> str:
    """A turn told by what comes twice a turn, as often as an engine fires."""
    return (
        f"What would tell this turn comes {line_hz:.0f} times a second, as often as a running engine fires: "
        "capture again with the engine off, during the key-on prime, or say how many segments the pump has."
    )


@note("another-load-suspected", "warning")
def another_load(rpm: float, ripple_pct: float) -> str:
    """An unusual speed with a faint ripple."""
    return (
        f"{rpm:.0f} rpm is unusual for a fuel pump, and a ripple of {ripple_pct:.1f} % of the average "
        "is faint: this looks like an alternator's ripple on another load, a fan or a blower. Make sure the "
        "clamp is on the pump's own wire, and capture again with the engine off."
    )


@note("another-load-suspected", "warning", "slow")
def a_fans_speed(rpm: float, segments: int) -> str:
    """A slow motor of many bars."""
    return (
        f"{rpm:.0f} rpm is slow, and {segments} segments are many, for a fuel pump: this looks like a fan or "
        "a blower. Make sure the clamp is on the pump's own wire, and capture again."
    )


@note("another-load-suspected", "warning", "slow-few")
def slow_for_a_pump(rpm: float, usual_low_rpm: float) -> str:
    """A slow motor, a pump that drags or none."""
    return (
        f"{rpm:.0f} rpm is slow for a fuel pump, which usually turns at {usual_low_rpm:,.0f} rpm or more: it "
        "drags or lacks volts, or this is a fan or a blower. Make sure the clamp is on the pump's own wire."
    )


@note("another-load-suspected", "warning", "current")
def a_fans_current(rpm: float, usual_low_rpm: float, mean_a: float) -> str:
    """A slow motor on too little current for a pump that drags."""
    return (
        f"{rpm:,.0f} rpm fits, but a fuel pump usually turns at {usual_low_rpm:,.0f} rpm or more, and one "
        f"that drags so far would draw more than {mean_a:.1f} A: this looks like a fan or a blower, or volts "
        "are very low. Make sure the clamp is on the pump's own wire; if its type is so slow, enter its "
        "usual speed (rpm_low)."
    )


@note("another-load-suspected", "warning", "lines")
def unusual_beside_lines(rpm: float, line_hz: float) -> str:
    """An unusual speed beside lines that do not follow it."""
    return (
        f"{rpm:.0f} rpm is unusual for a fuel pump, and a line at {line_hz:.0f} Hz does not follow it: "
        "this may be a running engine's ripple on another load, a fan or a driver. Make sure the clamp is on "
        "the pump's own wire, and capture again with the engine off, during the key-on prime."
    )


@note("another-load-suspected", "warning", "pattern")
def no_commutators_pattern() -> str:
    """A pattern that neither sound bars nor a bad one make."""
    return (
        "What repeats in the record is not what a commutator of so many segments leaves, sound or with a bad "
        "segment: this looks like a brushless pump's driver, another motor or a wrong number of segments. "
        "Check the number and the wire, or say --motor brushless."
    )


@note("another-load-suspected", "warning", "driven")
def no_commutators_beside_a_drive() -> str:
    """The same on a switched feed, whose leavings may draw it."""
    return (
        "What repeats in the record is not what a commutator of so many segments leaves, sound or with a bad "
        "segment; what the drive leaves in the current may draw it. Command the pump fully on for the "
        "capture if you can, and check the number of segments and the wire."
    )


@note("pwm-found", "warning", "or-brushless")
def switched_or_brushless(line_hz: float) -> str:
    """A clock on a feed of which nothing was told."""
    return (
        f"A line at {line_hz:.0f} Hz, faster than ripple, shows that the feed is switched: a drive's, or a "
        "brushless pump's own electronics, whose commutation looks like a brushed pump's. Say which "
        "(--supply pwm, or --motor brushless)."
    )


@note("second-motor-suspected", "warning")
def second_motor(line_hz: float) -> str:
    """The ripple of another commutator beside the pump's."""
    return (
        f"Lines at {line_hz:.0f} Hz and twice that do not follow the shaft: this looks like a second "
        "motor on the same wire, such as another pump. Clamp one pump's own wire, and capture again."
    )


@note("current-drops-out", "warning")
def current_drops_out(count: int, lasting_ms: float, left_pct: float) -> str:
    """A contact that opens and closes again."""
    return (
        f"{count} times in the record the current drops at once to {left_pct:.0f} % and comes back at once, "
        f"after {lasting_ms:.0f} ms on average: a connector, splice, relay or ground makes poor contact. "
        "Find it (move the harness while recording), then capture again; the average counts both states."
    )


@note("current-flat", "warning")
def current_flat(below_pct: float) -> str:
    """No commutation in sight."""
    return (
        f"The current hardly varies from moment to moment (less than {below_pct:.0f} % of its average): no "
        "commutation ripple is seen, so no speed is told. The pump may stand still or be brushless, or the "
        "clamp may be too slow or on another load."
    )


@note("ripple-untold", "info", "irregular")
def ripple_irregular() -> str:
    """The phase was lost."""
    return "No ripple is told: the turns are too irregular to be averaged."


@note("ripple-untold", "info", "too-slow")
def ripple_too_slow() -> str:
    """Too few samples."""
    return "No ripple is told: too few samples fall on one to show its height."


@note("ripple-untold", "info", "foreign")
def ripple_foreign() -> str:
    """The lines may be something else's."""
    return "No ripple is told: what repeats in the record may not be the pump's own."


@note("ripple-untold", "info", "open")
def ripple_open() -> str:
    """Unlike turns fit."""
    return "No ripple is told: it is read off the average turn, and the trace allows turns of unlike length."


@note("probe-factor-doubtful", "ask")
def probe_factor_doubtful(mean_a: float) -> str:
    """A mean that no fuel pump draws."""
    return f"A mean of {mean_a:.3g} A is unlikely for a fuel pump: check the clamp's mV/A setting."


@note("too-few-turns", "warning")
def too_few_turns(turns: float, needed: float) -> str:
    """A run too short for its speed."""
    return (
        f"Only {turns:.1f} turns are in the settled run, {needed:.0f} are needed to tell the speed: "
        "use a longer time base, 100 ms or more."
    )


@note("sampled-too-slowly", "warning", "folded")
def ripple_folded(samples_a_ripple: float) -> str:
    """So few samples that a faster wave looks the same."""
    return _slow(samples_a_ripple, "so a faster wave may pass for a slow one", "")


@note("sampled-too-slowly", "warning", "segments-untold")
def slow_for_untold_segments(samples_a_ripple: float) -> str:
    """Too few samples as long as the segments are not told."""
    why = "too few to tell the speed while the segments are not told"
    return _slow(samples_a_ripple, why, "say how many the pump has, or ")


@note("sampled-too-slowly", "warning", "far-speed")
def slow_for_a_far_speed(samples_a_ripple: float) -> str:
    """Too few samples for a speed at odds with the last visit's."""
    return _slow(samples_a_ripple, "too few to tell a speed so far from the last visit's", "")


def _slow(samples: float, why: str, instead: str) -> str:
    return f"Only {samples:.1f} samples fall on one ripple, {why}: {instead}capture again at 20 kS/s or more."


@note("speed-refused", "warning")
def speed_refused() -> str:
    """No ripple at all."""
    return (
        "No ripple stands out of the noise, so the speed can't be told: clamp one pump's own wire, "
        "take a narrower range and 100 ms or more, and capture again."
    )


@note("speed-not-followed", "warning")
def speed_not_followed() -> str:
    """A speed that changes within a turn."""
    return (
        "The speed changes faster than the ripple lets it be followed: wait until the pump runs steadily "
        "and has fuel, and capture again."
    )


@note("speed-differs", "ask")
def speed_differs(expected_rpm: float, rpm: float) -> str:
    """A speed unlike the last visit's."""
    return (
        f"The last visit's speed leads to expect about {expected_rpm:,.0f} rpm, the trace shows "
        f"{rpm:,.0f}: is it the same pump, in the same state?"
    )


@note("segments-contradicted", "ask")
def segments_contradicted(looks_like: int, told: int, rpm: float) -> str:
    """The trace leads to another number of segments than was told."""
    return (
        f"The trace looks like {looks_like} segments, at {rpm:,.0f} rpm; {told} were told, so no speed is: "
        "is the number right, and the motor of two poles? Or this is another pump, or another motor's wire."
    )


@note("speed-undecided", "warning", "far")
def speed_far(rpm: float, expected_rpm: float) -> str:
    """The likeliest speed lies too far from the last visit's."""
    return (
        f"{rpm:,.0f} rpm fits, but is too far from the {expected_rpm:,.0f} rpm of the last visit: make sure "
        "that it is the same pump and that its last speed is right, and capture again."
    )


@note("speed-undecided", "warning", "poles")
def poles_open(rpm: float) -> str:
    """Two poles, or four at half the speed."""
    return (
        f"The trace allows {rpm:.0f} rpm of a motor of two poles, or {rpm / 2:.0f} rpm of one of four: tell "
        "the poles and the number of segments."
    )


@note("speed-undecided", "warning", "open")
def speed_open(rpm: list[float], segments_told: bool) -> str:
    """Several speeds, or one that does not rule out another; rpm: likeliest first."""
    advice = (
        "capture again with a narrower range and 200 ms or more"
        if segments_told
        else "tell the number of segments, best in its pump type, if it is known"
    )
    if len(rpm) == 1:
        return f"{rpm[0]:,.0f} rpm fits, but the trace does not rule out another speed: {advice}."
    shown = " or ".join(f"{each:,.0f}" for each in rpm)
    return f"The trace allows {shown} rpm, and none of these is safely ruled out: {advice}."
