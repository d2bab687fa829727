"""Every way a file tells when its samples were taken."""

from __future__ import annotations

import numpy as np

from tests.readers.dialects.scenario import COUNT, Scenario, printed, rows, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741


@scenario
def sample_interval_in_the_header() -> Scenario:
    head = "Sample Interval,5.0E-05,s\nVertical Units,A\nData\n"
    return Scenario("i.csv", (head + rows(I)).encode(), I, notes=("time-from-header",))


@scenario
def sample_interval_with_its_unit_in_the_key() -> Scenario:
    return Scenario("i.csv", ("Sampling interval (us): 50\nCurrent (A)\n" + rows(I)).encode(), I)


@scenario
def sample_rate_in_the_header() -> Scenario:
    return Scenario("r.csv", ("Sample Rate: 20 kS/s\nI [A]\n" + rows(I)).encode(), I)


@scenario
def sample_rate_in_hertz() -> Scenario:
    return Scenario("r.csv", ("Sampling frequency (Hz);20000\ncurrent (A)\n" + rows(I)).encode(), I)


@scenario
def sample_rate_said_beside_the_file() -> Scenario:
    return Scenario("r.csv", rows(I).encode(), I, options={"sample_rate_hz": "20 kS/s"})


@scenario
def time_in_milliseconds() -> Scenario:
    return Scenario("ms.csv", ("Time (ms),Current (A)\n" + rows(T * 1e3, I)).encode(), I)


@scenario
def time_in_microseconds_micro_sign() -> Scenario:
    return Scenario("us.csv", ("Time (µs),Current (A)\n" + rows(T * 1e6, I)).encode(), I)


@scenario
def time_in_microseconds_greek_mu() -> Scenario:
    return Scenario("us.csv", ("Time (μs),Current (A)\n" + rows(T * 1e6, I)).encode(), I)


@scenario
def time_in_nanoseconds() -> Scenario:
    return Scenario("ns.csv", ("Time_ns,Current_A\n" + rows(printed(T * 1e9, ".0f"), I)).encode(), I)


@scenario
def time_in_picoseconds() -> Scenario:
    return Scenario(
        "ps.csv", ("t [ps];I [A]\n" + rows(printed(T * 1e12, ".0f"), I, separator=";")).encode(), I
    )


@scenario
def time_before_the_trigger_is_negative() -> Scenario:
    head = "Time (s),Current (A)\n"
    return Scenario("pre.csv", (head + rows(T - 0.05, I)).encode(), I, start_s=-0.05)


@scenario
def clock_time() -> Scenario:
    stamps = [f"10:59:{59 + t:010.7f}" if 59 + t < 60 else f"11:00:{t - 1:010.7f}" for t in T]
    start = 10 * 3600 + 59 * 60 + 59
    return Scenario("ck.csv", ("time,current (A)\n" + rows(stamps, I)).encode(), I, start_s=start)


@scenario
def clock_time_over_midnight() -> Scenario:
    late = 86_399.9 + T
    stamps = [f"{int(s // 3600) % 24:02d}:{int(s // 60) % 60:02d}:{s % 60:08.5f}" for s in late]
    return Scenario("ck.csv", ("time,current (A)\n" + rows(stamps, I)).encode(), I, start_s=86_399.9)


@scenario
def date_and_time_in_one_cell() -> Scenario:
    stamps = [f"2026-03-13 08:15:{30 + t:08.5f}" for t in T]
    start = 8 * 3600 + 15 * 60 + 30
    return Scenario("dt.csv", ("timestamp,current (A)\n" + rows(stamps, I)).encode(), I, start_s=start)


@scenario
def date_and_time_in_two_cells() -> Scenario:
    days = ["13.03.2026"] * COUNT
    stamps = [f"08:15:{30 + t:08.5f}".replace(".", ",") for t in T]
    text = "Datum;Zeit;Strom (A)\n" + "".join(
        f"{d};{s};{i:.6f}\n".replace(f"{i:.6f}", f"{i:.6f}".replace(".", ","))
        for d, s, i in zip(days, stamps, I, strict=True)
    )
    return Scenario("dt.csv", text.encode(), I, start_s=8 * 3600 + 15 * 60 + 30)


@scenario
def stamps_rounded_until_they_repeat_interval_in_header() -> Scenario:
    head = "Sample Interval,5e-05\nVertical Units,A\nTIME,CH1\n"
    return Scenario(
        "co.csv",
        (head + rows(printed(T - 0.1, ".4f"), I)).encode(),
        I,
        start_s=-0.1,
        notes=("time-from-header",),
    )


@scenario
def stamps_rounded_until_they_repeat_no_interval() -> Scenario:
    text = "time (s),current (A)\n" + rows(printed(T, ".4f"), I)
    # the span is known to one printed step in 0.2 s only
    return Scenario(
        "co.csv", text.encode(), I, rate_hz=20_000 * (1 + 0.5e-4 / 0.2), notes=("time-from-span",)
    )


@scenario
def stamps_with_float_dust() -> Scenario:
    stamps = [repr(float(t)) for t in np.cumsum(np.full(COUNT, 5e-05)) - 0.0123]
    text = "time_s;current_A\n" + rows(stamps, I, separator=";").replace(".", ",")
    return Scenario("fd.csv", text.encode(), I, start_s=5e-05 - 0.0123)


@scenario
def jittered_stamps() -> Scenario:
    rng = np.random.default_rng(3)
    jittered = T + rng.uniform(-1e-5, 1e-5, COUNT)
    jittered[[0, -1]] = T[[0, -1]]
    turn_values = np.interp(jittered, T, I)
    text = "time (s),current (A)\n" + rows(printed(jittered, ".9f"), turn_values)
    return Scenario("jit.csv", text.encode(), I, notes=("resampled",), tolerance_a=0.02)


@scenario
def first_of_two_records_with_repeated_header() -> Scenario:
    block = "time (s),current (A)\n" + rows(T, I)
    other = "time (s),current (A)\n" + rows(T, I + 1)
    return Scenario("seg.csv", (block + "\n" + other).encode(), I, notes=("record-chosen",))


@scenario
def second_record_after_a_blank_line() -> Scenario:
    text = "time (s),current (A)\n" + rows(T, I + 1) + "\n" + rows(T, I)
    return Scenario("seg.csv", text.encode(), I, options={"record": 2}, notes=("record-chosen",))


@scenario
def record_number_in_a_column() -> Scenario:
    numbers = ["1"] * COUNT + ["2"] * COUNT
    both = np.concatenate([T, T]), np.concatenate([I + 1, I])
    text = "segment,time (s),current (A)\n" + rows(numbers, *both)
    return Scenario("seg.csv", text.encode(), I, options={"record": "2"}, notes=("record-chosen",))


@scenario
def minutes_and_seconds() -> Scenario:
    stamps = [f"1:{30 + t:010.7f}" for t in T]
    return Scenario("ms.csv", ("time,current (A)\n" + rows(stamps, I)).encode(), I, start_s=90)


@scenario
def start_and_increment_with_a_sequence_column() -> Scenario:
    head = "X,CH1,Start,Increment\nSequence,A,-1.0e-02,5.0e-05\n"
    body = rows([str(n) for n in range(COUNT)], I, after=",,")
    return Scenario("si.csv", (head + body).encode(), I, start_s=-0.01)


@scenario
def interval_in_the_header_of_a_row_number_column() -> Scenario:
    head = "dt = 50 us\nIndex,Current (A)\n"
    return Scenario("ix.csv", (head + rows([str(n) for n in range(COUNT)], I)).encode(), I)
