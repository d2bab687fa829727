"""Units in the cells, channels called alike, second names, and records that each begin with a header."""

from __future__ import annotations

import numpy as np

from tests.readers.dialects.scenario import COUNT, RATE_HZ, Scenario, rows, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741
VOLTS = 12 + 0.1 * np.sin(np.arange(COUNT) / 50)
HALF = COUNT // 2


def _with_units(stamps: list[str], values: list[str], separator: str = ",") -> bytes:
    lines = (f"{t}{separator}{v}" for t, v in zip(stamps, values, strict=True))
    return ("Time" + separator + "Pump\n" + "\n".join(lines) + "\n").encode()


@scenario
def units_in_every_cell() -> Scenario:
    data = _with_units([f"{t * 1e3:.4f} ms" for t in T], [f"{i:.6f} A" for i in I])
    return Scenario("u.csv", data, I)


@scenario
def units_in_every_cell_with_decimal_commas() -> Scenario:
    stamps = [f"{t * 1e3:.4f}ms".replace(".", ",") for t in T]
    values = [f"{i * 1e3:.3f}mA".replace(".", ",") for i in I]
    return Scenario("u.csv", _with_units(stamps, values, ";"), I)


@scenario
def a_recorder_that_goes_from_ns_to_us_to_ms() -> Scenario:
    def stamp(t: float) -> str:
        return f"{t * 1e9:.0f} ns" if t < 1e-3 else f"{t * 1e6:.1f} µs" if t < 0.1 else f"{t * 1e3:.4f} ms"

    return Scenario("u.csv", _with_units([stamp(t) for t in T], [f"{i:.6f} A" for i in I]), I)


def _called_alike(name: str, channel: str) -> Scenario:
    text = f"Time (s),{name},{name},{name},{name}\n" + rows(T, VOLTS, VOLTS, I, VOLTS)
    options = {"channel": channel, "probe": "1V/A"}
    return Scenario("alike.csv", text.encode(), I, options=options, notes=("probe-applied",))


@scenario
def four_channels_called_value_by_number() -> Scenario:
    return _called_alike("Value", "3")


@scenario
def four_channels_called_value_by_name_and_number() -> Scenario:
    return _called_alike("Value", "Value 3")


@scenario
def four_channels_called_voltage_with_their_unit() -> Scenario:
    return _called_alike("Voltage (V)", "CH3")


@scenario
def a_computed_channel_in_amperes() -> Scenario:
    text = "Time (s),CH1 (V),MATH1 (A)\n" + rows(T, VOLTS, I)
    return Scenario("math.csv", text.encode(), I, notes=("channel-chosen",))


@scenario
def a_computed_channel_without_a_unit_of_its_own() -> Scenario:
    text = "x-axis,1,2,MATH1\nsecond,Volt,Volt,Volt\n" + rows(T, VOLTS, VOLTS, I)
    return Scenario("math.csv", text.encode(), I, options={"channel": "math1", "probe": "1V/A"})


@scenario
def a_second_row_of_names() -> Scenario:
    text = "Time,CH1,CH2\n,Battery,Pump\n(s),(V),(A)\n" + rows(T, VOLTS, I)
    return Scenario("names.csv", text.encode(), I, options={"channel": "pump"})


@scenario
def a_second_row_of_names_below_the_units() -> Scenario:
    text = "Time,CH1,CH2\n(s),(A),(A)\n,Battery,Pump\n" + rows(T, VOLTS, I)
    return Scenario("names.csv", text.encode(), I, options={"channel": "CH2"})


def _numbered_records(word: str, head: str) -> str:
    records = [(1, VOLTS[:HALF]), (2, I[HALF:])]
    parts = [f"{word}{k}\n{head}" + rows(T[:HALF], values) for k, values in records]
    return "".join(parts)


@scenario
def records_that_begin_with_their_number_and_a_header() -> Scenario:
    text = _numbered_records("Segment,", "Time (s),Current (A)\n")
    return Scenario("s.csv", text.encode(), I[HALF:], options={"record": 2}, notes=("record-chosen",))


@scenario
def records_with_a_longer_header_each() -> Scenario:
    text = "Segments,2\n" + _numbered_records(
        "Segment,", "X increment,5e-05\nPoints,2000\nTime (s),Current (A)\n"
    )
    return Scenario("s.csv", text.encode(), I[HALF:], options={"record": 2}, notes=("record-chosen",))


def _by_axis(increment: str, zero: str) -> Scenario:
    text = f"{increment},5e-05\n{zero},-0.01\nVertical unit,A\nPoints,{COUNT}\nPump\n" + rows(I)
    return Scenario("axis.csv", text.encode(), I, start_s=-0.01, notes=("time-from-header",))


@scenario
def increment_and_zero_of_the_x_axis() -> Scenario:
    return _by_axis("X increment", "X zero")


@scenario
def step_and_origin_of_the_horizontal_axis() -> Scenario:
    return _by_axis("Horizontal step", "Horizontal origin")


@scenario
def step_and_offset_in_short() -> Scenario:
    return _by_axis("HInc", "HOff")


@scenario
def words_about_the_time_axis() -> Scenario:
    return _by_axis("Increment of time axis (s)", "Time axis start (s)")


def _by_codes(increment: str, zero: str, offset: str) -> Scenario:
    codes = np.round((I - 4) / 0.0001) + 10
    head = (
        f"X increment,{1 / RATE_HZ:g}\nX zero,0\n{increment},0.0001\n{zero},4\n{offset},10\nY unit,A\nData,\n"
    )
    text = head + "".join(f"{code:.0f},\n" for code in codes)
    return Scenario("codes.csv", text.encode(), I, notes=("codes-scaled",))


@scenario
def codes_by_increment_zero_and_offset() -> Scenario:
    return _by_codes("Y increment", "Y zero", "Y offset")


@scenario
def codes_by_step_origin_and_reference() -> Scenario:
    return _by_codes("Value step", "Value origin", "Value reference")
