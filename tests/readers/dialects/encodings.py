"""Encodings, byte-order marks and line ends."""

from __future__ import annotations

import codecs
import gzip

from tests.readers.dialects.scenario import Scenario, rows, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741
HEAD = "Zeit (µs);Strom (A)\n"
BODY = rows(T * 1e6, I, separator=";", decimal=",")


@scenario
def byte_order_mark_before_the_first_name() -> Scenario:
    return Scenario("bom.csv", codecs.BOM_UTF8 + ("Time (ms),I (A)\n" + rows(T * 1e3, I)).encode(), I)


@scenario
def utf_16_little_endian_with_mark() -> Scenario:
    return Scenario("16.csv", codecs.BOM_UTF16_LE + (HEAD + BODY).encode("utf-16-le"), I)


@scenario
def utf_16_big_endian_with_mark() -> Scenario:
    return Scenario("16.csv", codecs.BOM_UTF16_BE + (HEAD + BODY).encode("utf-16-be"), I)


@scenario
def utf_16_without_mark() -> Scenario:
    return Scenario("16.csv", (HEAD + BODY).encode("utf-16-le"), I)


@scenario
def latin_1_micro_sign() -> Scenario:
    return Scenario("l1.csv", (HEAD + BODY).encode("latin-1"), I)


@scenario
def carriage_return_only() -> Scenario:
    return Scenario("cr.csv", (HEAD + BODY).replace("\n", "\r").encode(), I)


@scenario
def carriage_return_line_feed() -> Scenario:
    return Scenario("crlf.csv", (HEAD + BODY).replace("\n", "\r\n").encode(), I)


@scenario
def two_carriage_returns_and_line_feed() -> Scenario:
    return Scenario("crcrlf.csv", (HEAD + BODY).replace("\n", "\r\r\n").encode(), I)


@scenario
def gzip_of_text() -> Scenario:
    return Scenario("c.csv.gz", gzip.compress((HEAD + BODY).encode(), mtime=0), I)


@scenario
def gzip_of_two_members() -> Scenario:
    text = (HEAD + BODY).encode()
    half = len(text) // 2
    return Scenario("c.csv.gz", gzip.compress(text[:half], mtime=0) + gzip.compress(text[half:], mtime=0), I)
