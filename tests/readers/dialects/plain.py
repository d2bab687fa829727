"""Columns, delimiters and blanks, with little or no header."""

from __future__ import annotations

import numpy as np

from tests.readers.dialects.scenario import COUNT, Scenario, printed, rows, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741
OTHER = 12.6 + 0.1 * np.sin(np.arange(COUNT) / 7)


@scenario
def two_columns_no_header() -> Scenario:
    codes = ("time-column-assumed", "time-unit-assumed", "unit-assumed")
    return Scenario("plain.csv", rows(T, I).encode(), I, notes=codes)


@scenario
def two_columns_named_without_units() -> Scenario:
    return Scenario("named.csv", ("Time,CH1\n" + rows(T, I)).encode(), I, notes=("unit-assumed",))


@scenario
def semicolons() -> Scenario:
    return Scenario("s.csv", ("time (s);current (A)\n" + rows(T, I, separator=";")).encode(), I)


@scenario
def semicolons_decimal_comma() -> Scenario:
    body = rows(T, I, separator=";", decimal=",")
    return Scenario("s.csv", ("Zeit [s];Strom [A]\n" + body).encode(), I)


@scenario
def tabs() -> Scenario:
    return Scenario("t.txt", ("t / s\tI / A\n" + rows(T, I, separator="\t")).encode(), I)


@scenario
def tabs_decimal_comma() -> Scenario:
    body = rows(T, I, separator="\t", decimal=",")
    return Scenario("t.txt", ("temps (s)\tcourant (A)\n" + body).encode(), I)


@scenario
def bars_between_values() -> Scenario:
    return Scenario("b.txt", ("time_s|current_A\n" + rows(T, I, separator="|")).encode(), I)


@scenario
def aligned_blanks() -> Scenario:
    body = "".join(f"{t:14.7f}{i:16.6f}\n" for t, i in zip(T, I, strict=True))
    return Scenario("a.dat", ("       Time[s]      Current[A]\n" + body).encode(), I)


@scenario
def aligned_blanks_decimal_comma_no_header() -> Scenario:
    body = "".join(f"{t:14.7f}{i:16.6f}\n" for t, i in zip(T, I, strict=True)).replace(".", ",")
    return Scenario("a.dat", body.encode(), I)


@scenario
def comma_and_blank() -> Scenario:
    return Scenario("c.csv", ("Time (s), Current (A)\n" + rows(T, I, separator=", ")).encode(), I)


@scenario
def quoted_cells() -> Scenario:
    body = "".join(f'"{t:.7f}","{i:.6f}"\n' for t, i in zip(T, I, strict=True))
    return Scenario("q.csv", ('"time (s)","current (A)"\n' + body).encode(), I)


@scenario
def trailing_delimiter() -> Scenario:
    return Scenario("td.csv", ("time (s),current (A),\n" + rows(T, I, after=",")).encode(), I)


@scenario
def trailing_delimiter_only_in_rows() -> Scenario:
    return Scenario("td.csv", ("time (s),current (A)\n" + rows(T, I, after=",,")).encode(), I)


@scenario
def leading_delimiter() -> Scenario:
    return Scenario("ld.csv", (",time (s),current (A)\n" + rows(T, I, before=",")).encode(), I)


@scenario
def blank_columns_between() -> Scenario:
    empty = [""] * COUNT
    return Scenario("bc.csv", ("time (s),,,current (A)\n" + rows(T, empty, empty, I)).encode(), I)


@scenario
def blank_lines_before_and_after() -> Scenario:
    return Scenario("bl.csv", ("\n\ntime (s),current (A)\n\n" + rows(T, I) + "\n\n\n").encode(), I)


@scenario
def every_second_line_blank() -> Scenario:
    return Scenario("bl.csv", ("time (s),current (A)\n\n" + rows(T, I, end="\n\n")).encode(), I)


@scenario
def lines_that_hold_only_a_comma() -> Scenario:
    head = "Model,bench\n\nSample Interval,5e-05\nVertical Units,A\n,\n,\n,\nTIME,CH1\n"
    return Scenario("oc.csv", (head + rows(T, I) + ",\n").encode(), I)


@scenario
def index_column_first() -> Scenario:
    index = [str(n) for n in range(COUNT)]
    return Scenario("ix.csv", ("Sample,Time (s),I (A)\n" + rows(index, T, I)).encode(), I)


@scenario
def index_then_two_tabs_then_commas() -> Scenario:
    index = [f"{n}\t\t" for n in range(1, COUNT + 1)]
    return Scenario("ix.csv", ("No\t\t,t`s,Ch 1`A\n" + rows(index, T, I)).encode(), I)


@scenario
def index_column_without_names() -> Scenario:
    index = [str(n) for n in range(COUNT)]
    return Scenario("ix.csv", rows(index, T, I).encode(), I)


@scenario
def the_only_channel_in_amperes() -> Scenario:
    text = "time (s),supply (V),pump (A),duty (%)\n" + rows(T, OTHER, I, OTHER)
    return Scenario("4.csv", text.encode(), I, notes=("channel-chosen",))


@scenario
def channel_named_without_unit_and_case() -> Scenario:
    text = "time (s),Front (A),Rear (A)\n" + rows(T, OTHER, I)
    return Scenario("2.csv", text.encode(), I, options={"channel": "REAR"})


@scenario
def time_repeated_beside_each_channel() -> Scenario:
    text = "t (s),CH1 (A),t (s),CH2 (V)\n" + rows(T, I, T, OTHER)
    return Scenario("tt.csv", text.encode(), I, options={"channel": "ch1"})


@scenario
def columns_of_words_beside_the_numbers() -> Scenario:
    words = ["ok"] * COUNT
    return Scenario("w.csv", ("time (s),current (A),state\n" + rows(T, I, words)).encode(), I)


@scenario
def no_end_after_the_last_line() -> Scenario:
    return Scenario("ne.csv", ("time (s),current (A)\n" + rows(T, I)).rstrip("\n").encode(), I)


@scenario
def last_line_cut() -> Scenario:
    text = "time (s),current (A)\n" + rows(T, I) + "0.20000"
    return Scenario("cut.csv", text.encode(), I, notes=("last-line-cut",))


@scenario
def step_column_at_the_end() -> Scenario:
    step = ["50"] * COUNT
    index = [str(n) for n in range(COUNT)]
    text = "index,time_s,current_A,delta_us\n" + rows(index, T, I, step)
    return Scenario("dt.csv", text.encode(), I)


@scenario
def highest_and_lowest_pair() -> Scenario:
    text = "time (s),CH1 (A),CH1 Peak Detect (A)\n" + rows(T, I, I + 0.1)
    return Scenario("pk.csv", text.encode(), I, notes=("envelope-column",))


@scenario
def values_in_exponents() -> Scenario:
    text = "time (s),current (A)\n" + rows(printed(T, ".9E"), printed(I, ".7E"))
    return Scenario("e.csv", text.encode(), I)


@scenario
def aligned_blanks_with_brackets_one_blank_apart() -> Scenario:
    body = "".join(f"{t:14.7f}{i:16.6f}\n" for t, i in zip(T, I, strict=True))
    return Scenario("a.dat", ("Time (s) Current (A)\n" + body).encode(), I)


@scenario
def summary_below_the_rows() -> Scenario:
    text = "time (s),current (A)\n" + rows(T, I) + "\nMean,4.2\nHighest,4.6\n"
    return Scenario("sum.csv", text.encode(), I, notes=("text-rows",))


@scenario
def zeros_behind_the_text() -> Scenario:
    return Scenario("nul.csv", ("time (s),current (A)\n" + rows(T, I)).encode() + bytes(4_096), I)


@scenario
def separator_named_in_the_first_line() -> Scenario:
    text = "sep=;\nTime (s);I (A)\n" + rows(T, I, separator=";")
    return Scenario("sep.csv", text.encode(), I)


@scenario
def units_row_and_a_blank_line_before_the_rows() -> Scenario:
    text = '"Time";"Channel A";"Channel B"\n"(ms)";"(A)";"(V)"\n\n' + rows(T * 1e3, I, OTHER, separator=";")
    return Scenario("ab.csv", text.encode(), I, notes=("channel-chosen",))
