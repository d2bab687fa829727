"""WAV files read as scipy's own reader reads them (scipy.io.wavfile, the reference library here)."""

import io
import struct
import wave

import numpy as np
import pytest
from scipy.io import wavfile

from ingest.errors import CaptureRefused
from ingest.readers import wav

RNG = np.random.default_rng(2)
FULL = {"u1": 128.0, "i2": 2.0**15, "i4": 2.0**31, "i8": 2.0**63, "f4": 1.0, "f8": 1.0}


def by_library(data, kind):
    """Fractions of full scale, shape (frames, channels), by the library."""
    rate, samples = wavfile.read(io.BytesIO(data))
    fractions = (samples.astype(np.float64) - (128 if kind == "u1" else 0)) / FULL[kind]
    return rate, fractions.reshape(len(samples), -1)


def ours(data):
    table = wav.read(data)
    return 1 / table.header.interval_s, np.stack([column.values for column in table.columns], 1)


@pytest.mark.parametrize("kind", FULL)
@pytest.mark.parametrize("channels", [1, 2, 5])
def test_every_width_and_number_of_channels(kind, channels):
    spread = 40 if kind == "u1" else 0.3 if kind[0] == "f" else 1_000
    samples = RNG.standard_normal((301, channels)) * spread + (128 if kind == "u1" else 0)
    file = io.BytesIO()
    wavfile.write(file, 48_000, samples.astype(kind))
    rate, expected = by_library(file.getvalue(), kind)
    assert ours(file.getvalue())[0] == pytest.approx(rate)
    np.testing.assert_array_equal(ours(file.getvalue())[1], expected)


@pytest.mark.parametrize("channels", [1, 2])
def test_24_bits(channels):
    file = io.BytesIO()
    with wave.open(file, "wb") as writer:
        writer.setnchannels(channels)
        writer.setsampwidth(3)
        writer.setframerate(44_100)
        writer.writeframes(RNG.bytes(3 * channels * 400))
    _, expected = by_library(file.getvalue(), "i4")
    np.testing.assert_array_equal(ours(file.getvalue())[1], expected)


def riff(*chunks, order="<"):
    body = b"".join(name + struct.pack(order + "I", len(data)) + data + b"\0" * (len(data) % 2)
                    for name, data in chunks)  # fmt: skip
    return (b"RIFF" if order == "<" else b"RIFX") + struct.pack(order + "I", len(body) + 4) + b"WAVE" + body


def format_chunk(tag=1, channels=1, rate=20_000, frame=2, bits=16, order="<"):
    return struct.pack(order + "HHIIHH", tag, channels, rate, rate * frame, frame, bits)


@pytest.mark.parametrize("order", ["<", ">"])
def test_big_endian_extensible_and_odd_chunks_before_the_samples(order):
    samples = RNG.integers(-2_000, 2_000, 300).astype(order + "i2")
    # extra size, valid bits, speakers, and the sub-format: a GUID of which the first number is the tag
    guid = struct.pack(order + "HHIIHH", 22, 16, 4, 1, 0, 0x10) + bytes.fromhex("800000aa00389b71")
    data = riff(
        (b"LIST", b"odd"),
        (b"fmt ", format_chunk(tag=0xFFFE, order=order) + guid),
        (b"data", samples.tobytes()),
        order=order,
    )
    _, expected = by_library(data, "i2")
    np.testing.assert_array_equal(ours(data)[1], expected)


@pytest.mark.parametrize(
    "chunk",
    [
        format_chunk(channels=0),
        format_chunk(channels=65_535, frame=65_535),
        format_chunk(frame=3),
        format_chunk(bits=0, frame=0),
        format_chunk(tag=0x55),  # compressed
        format_chunk(bits=12),
        b"\1\0",
    ],
    ids=["no channel", "65,535 channels", "odd frame", "no bits", "compressed", "12 bits", "cut short"],
)
def test_a_format_that_cannot_be_is_refused_before_anything_is_allocated(chunk):
    with pytest.raises(CaptureRefused) as refused:
        wav.read(riff((b"fmt ", chunk), (b"data", bytes(100))))
    assert refused.value.code == "damaged"


def test_a_size_that_was_never_filled_in_holds_what_is_there():
    samples = RNG.integers(-2_000, 2_000, 300).astype("<i2")
    data = riff((b"fmt ", format_chunk()), (b"data", samples.tobytes()))
    place = data.index(b"data") + 4
    endless = data[:place] + b"\xff\xff\xff\xff" + data[place + 4 :]
    np.testing.assert_array_equal(ours(endless)[1][:, 0], samples / 2**15)
