"""Units, probes, number forms, gaps and the clamp's direction."""

from __future__ import annotations

import numpy as np

from tests.readers.dialects.scenario import COUNT, Scenario, printed, rows, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741


@scenario
def milliamperes() -> Scenario:
    return Scenario("ma.csv", ("Time (s),Current (mA)\n" + rows(T, I * 1e3)).encode(), I)


@scenario
def volts_with_probe() -> Scenario:
    text = "Time (s),CH1 (V)\n" + rows(T, I * 0.1)
    return Scenario("v.csv", text.encode(), I, options={"probe": "100mV/A"}, notes=("probe-applied",))


@scenario
def millivolts_with_probe() -> Scenario:
    text = "Time (s),CH1 (mV)\n" + rows(T, I * 10)
    return Scenario("mv.csv", text.encode(), I, options={"probe": "10 mV/A"})


@scenario
def one_volt_an_ampere() -> Scenario:
    text = "Time (s),CH1 (V)\n" + rows(T, I)
    return Scenario("v.csv", text.encode(), I, options={"probe": "1V/A"})


@scenario
def probe_stated_in_the_header() -> Scenario:
    text = "Probe,100mV/A\nVertical Units,V\nTIME,CH1\n" + rows(T, I * 0.1)
    return Scenario("v.csv", text.encode(), I, notes=("probe-from-header",))


@scenario
def plus_signs() -> Scenario:
    text = "time (s),current (A)\n" + rows(printed(T, "+.7f"), printed(I, "+.6f"))
    return Scenario("plus.csv", text.encode(), I)


@scenario
def padded_zeros() -> Scenario:
    text = "time (s),current (A)\n" + rows(printed(T, "016.9f"), printed(I, "012.6f"))
    return Scenario("pad.csv", text.encode(), I)


@scenario
def engineering_exponents() -> Scenario:
    stamps = [f"{t * 1e3:+.4f}E-03" for t in T]
    text = "time (s),current (A)\n" + rows(stamps, [f"{i * 1e3:+.4f}E-03" for i in I])
    return Scenario("eng.csv", text.encode(), I)


@scenario
def three_digit_exponents() -> Scenario:
    stamps = [f"{t * 1e2:.7f}e-002" for t in T]
    text = "time (s),current (A)\n" + rows(stamps, [f"{i:.6f}e+000" for i in I])
    return Scenario("e3.csv", text.encode(), I)


@scenario
def positive_exponents_are_data() -> Scenario:
    text = rows(printed(T * 1e6, ".6E"), printed(I * 1e3, ".6E"))
    return Scenario("pe.csv", ("(us),(mA)\n" + text).encode(), I)


def _with_marks(marks: dict[int, str], *, first: int = 0, last: int = COUNT) -> tuple[str, np.ndarray]:
    cells, expected = printed(I, ".7f"), I.copy()
    for row, mark in marks.items():
        cells[row], expected[row] = mark, np.nan
    return "time (s),current (A)\n" + rows(T, cells), expected[first:last]


@scenario
def overflow_marks() -> Scenario:
    text, expected = _with_marks({100: "∞", 101: "-∞", 500: "****", 900: "inf", 1200: "OL"})
    return Scenario("ov.csv", text.encode(), expected, notes=("overflow",))


@scenario
def gap_marks() -> Scenario:
    text, expected = _with_marks({100: "NaN", 101: "---", 500: "", 900: "n/a", 1200: "1.#QNAN"})
    return Scenario("gap.csv", text.encode(), expected, notes=("gaps",))


@scenario
def overflow_as_huge_number() -> Scenario:
    text, expected = _with_marks({100: "9.9E+37", 101: "-9.9E37", 500: "9.91E37"})
    return Scenario("ov.csv", text.encode(), expected, notes=("overflow",))


@scenario
def no_values_at_the_start() -> Scenario:
    text, expected = _with_marks({n: "" for n in range(100)}, first=100)
    return Scenario("ns.csv", text.encode(), expected, start_s=100 / 20_000, notes=("ends-trimmed",))


@scenario
def reversed_clamp() -> Scenario:
    text = "time (s),current (A)\n" + rows(T, -I)
    return Scenario("rev.csv", text.encode(), I, notes=("reversed",))


@scenario
def typographic_minus() -> Scenario:
    stamps = [cell.replace("-", "−") for cell in printed(T - 0.1, ".7f")]
    text = "time (s),current (A)\n" + rows(stamps, I)
    return Scenario("minus.csv", text.encode(), I, start_s=-0.1)
