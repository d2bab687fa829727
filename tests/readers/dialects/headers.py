"""Preambles, comments, side columns and units in every place they are found."""

from __future__ import annotations

from tests.readers.dialects.scenario import COUNT, Scenario, printed, rows, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741


@scenario
def units_in_a_row_of_their_own() -> Scenario:
    return Scenario("u.csv", ("Time,Pump\n(ms),(mA)\n" + rows(T * 1e3, I * 1e3)).encode(), I)


@scenario
def units_row_in_words() -> Scenario:
    return Scenario("u.csv", ("x-axis,1\nsecond,Ampere\n" + rows(T, I)).encode(), I)


@scenario
def units_after_in() -> Scenario:
    return Scenario("u.csv", ("in s,C1 in A\n" + rows(T, I)).encode(), I)


@scenario
def units_only() -> Scenario:
    return Scenario("u.csv", ("s,A\n" + rows(T, I)).encode(), I)


@scenario
def preamble_with_commas_and_vertical_units() -> Scenario:
    head = (
        "Model,bench\nFirmware,1.0\n\nPoint Format,Y\nHorizontal Units,s\nHorizontal Scale,0.02\n"
        "Sample Interval,5e-05\nRecord Length,4000\nProbe Attenuation,10\nVertical Units,A\n"
        "Vertical Offset,0\nVertical Scale,1\nLabel,\nTIME,CH1\n"
    )
    return Scenario("p.csv", (head + rows(T, I)).encode(), I)


@scenario
def preamble_with_colons() -> Scenario:
    head = "Recorder: bench\nSample rate: 20 kS/s\nUnit: A\nTrigger: auto\n\nTime;Value\n"
    return Scenario("p.txt", (head + rows(T, I, separator=";")).encode(), I)


@scenario
def preamble_with_equals_and_hash() -> Scenario:
    head = "# recorder = bench\n# unit = A\n# columns: 2\n# time, current\n"
    return Scenario("p.txt", (head + rows(T, I)).encode(), I)


@scenario
def the_interval_in_words_without_a_sign() -> Scenario:
    head = "# bench run, filter 5 kHz\n# sample interval 50 us\nCurrent (A)\n"
    return Scenario("p.csv", (head + rows(I)).encode(), I, notes=("time-from-header",))


@scenario
def the_rate_in_words_the_number_before_it() -> Scenario:
    head = "Sampled with 20,0 kHz\nStrom (A)\n"
    return Scenario("p.csv", (head + rows(I, decimal=",")).encode(), I, notes=("time-from-header",))


@scenario
def a_length_in_time_that_is_all_there() -> Scenario:
    head = "Record length: 0.20 s\n1 sample every 50 us\nCurrent (A)\n"
    return Scenario("p.csv", (head + rows(I)).encode(), I, notes=("time-from-header",))


@scenario
def preamble_with_tabs() -> Scenario:
    head = "Recorder\tbench\nSamples\t4000\nInterval\t50 us\n\nTime (ms)\tCurrent (A)\n"
    return Scenario("p.txt", (head + rows(T * 1e3, I, separator="\t")).encode(), I)


@scenario
def comments_with_semicolon_though_commas_part_values() -> Scenario:
    head = ";Recorder,bench\n;Exported on,Friday March 13/03/2026\n;Nr of samples,4000\n;Sample rate,2e+04\n"
    index = [str(n) for n in range(COUNT)]
    return Scenario("p.csv", (head + "Sample,Time(S),CH1(A)\n" + rows(index, T, I)).encode(), I)


@scenario
def comments_with_percent() -> Scenario:
    head = "% recorded on the bench\n% second line\n% t[s]\tI[A]\n"
    return Scenario("p.txt", (head + rows(T, I, separator="\t")).encode(), I)


@scenario
def quoted_preamble_leading_delimiter_no_time_column() -> Scenario:
    head = (
        '"Model","bench"\n"TraceName","CH1","CH2"\nBlockSize,4000,4000\nDate,2026/03/13,2026/03/13\n'
        "Time,08:15:30.5,08:15:30.5\nVUnit,V,A\nHResolution,5.0e-005,5.0e-005\nHOffset,-1.0e-002,-1.0e-002\n"
        "HUnit,s,s\n"
    )
    body = rows(printed(12 + 0 * I, ".6e"), printed(I, ".6e"), before=",")
    return Scenario("q.csv", (head + body).encode(), I, start_s=-0.01, notes=("channel-chosen",))


@scenario
def preamble_of_three_hundred_lines() -> Scenario:
    head = "".join(f"Setting {n},value {n}\n" for n in range(300))
    return Scenario("long.csv", (head + "time (s),current (A)\n" + rows(T, I)).encode(), I)


@scenario
def preamble_longer_than_the_first_kilobytes() -> Scenario:
    head = "".join(f"Setting {n},{'x' * 60}\n" for n in range(3_000))
    return Scenario("long.csv", (head + "time (s),current (A)\n" + rows(T, I)).encode(), I)


@scenario
def side_columns() -> Scenario:
    keys = [
        "Record Length,4.000000e+03,",
        "Sample Interval,5.000000e-05,",
        ",,",
        "Source,CH2,",
        "Vertical Units,A,",
        "Horizontal Units,s,",
        "Pt Fmt,Y,",
        "Probe Atten,1.000000e+00,",
    ]
    side = keys + [",,"] * (COUNT - len(keys))
    body = "".join(f"{s},{t:017.12f},{i:10.5f},\n" for s, t, i in zip(side, T, I, strict=True))
    return Scenario("side.csv", body.encode(), I)


@scenario
def side_columns_with_a_stray_first_sign() -> Scenario:
    base = side_columns()
    return Scenario("side.csv", b"2" + base.data, I)


@scenario
def start_and_increment_beside_the_units() -> Scenario:
    head = "CH1,Start,Increment,\nAmpere,-2.00000e-02,5.00000e-05\n"
    return Scenario("si.csv", (head + rows(printed(I, ".6e"), after=",")).encode(), I, start_s=-0.02)


@scenario
def codes_with_a_scale_in_the_header() -> Scenario:
    scale, offset = 2e-3, -1000
    codes = [str(round(i / scale) + offset) for i in I]
    head = (
        "Source,CH1,\nVertical Units,A,\nYMult,2.0e-3,\nYOff,-1000,\nYZero,0,\nSampling Period,5.0e-05,\n"
        "Waveform Data,\n"
    )
    return Scenario(
        "codes.csv", (head + rows(codes, after=",")).encode(), I, notes=("codes-scaled",), tolerance_a=1.1e-3
    )


@scenario
def header_words_in_french() -> Scenario:
    head = "Appareil;banc\nFréquence d'échantillonnage;20 kHz\nUnité;A\n\nTemps;Voie 1\n"
    return Scenario("fr.csv", (head + rows(T, I, separator=";", decimal=",")).encode(), I)


@scenario
def header_words_in_german_no_time_column() -> Scenario:
    head = "Gerät;Prüfstand\nAbtastintervall;50 µs\nKanal;1\nEinheit;A\nDaten;\n"
    return Scenario("de.csv", (head + rows(I, separator=";", decimal=",")).encode(), I)


@scenario
def header_words_in_russian() -> Scenario:
    return Scenario("ru.csv", ("Время (с);Ток (А)\n" + rows(T, I, separator=";")).encode(), I)


@scenario
def definitions_with_quantity_names_and_units() -> Scenario:
    head = 'MIN=0\t-1\nMAX=1\t10\nSCALE=1\t0,5\nDEC=1\t3\nDEF="Zeit" t / s\t"Strom" I_1 / A\n'
    body = rows(T, I, separator="\t", decimal=",")
    return Scenario("def.txt", (head + body).encode(), I)


@scenario
def repeated_words_after_the_rows() -> Scenario:
    return Scenario("foot.csv", ("time (s),current (A)\n" + rows(T, I) + "End of record\n").encode(), I)
