"""Waveforms come back sample for sample, in the smallest exact form, whole or not at all."""

import os
import shutil
from datetime import UTC, datetime
from pathlib import Path

import duckdb
import numpy as np
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ingest import waveforms
from ingest.capture import Capture, Note
from ingest.errors import LedgerError
from ingest.readers.capture_file import read_capture
from ingest.sealed import seal_holds
from ingest.waveforms import encode, load_waveform, store_waveform, waveform_folder

SHARED = Path(os.environ.get("PUMPLEDGER_SHARED", Path(__file__).parents[2] / "../shared"))
HOSTILE = SHARED / "captures/hostile_footer_ends_the_reader.parquet"
RATE = 200_000.0
RNG = np.random.default_rng(11)
WAVE = 5 + 0.3 * np.sin(np.arange(4000) / 40) + RNG.normal(0, 0.05, 4000)


def text_with_three_decimals():
    return np.array([float(f"{v:.3f}") for v in WAVE]), "int16"


def twelve_bit_converter():
    return np.rint(WAVE / 20 * 4096) * (20 / 4096), "int16"


def sixteen_bit_wav_at_ten_amps_full_scale():
    return np.rint(WAVE / 10 * 32768) / 32768 * 10, "int16"


def twenty_four_bit_converter():
    return np.rint(WAVE / 10 * 2**23) * (10 / 2**23), "int32"


def single_precision_far_from_any_step():
    return np.exp(RNG.normal(0, 5, 4000)).astype(np.float32).astype(np.float64), "float32"


def double_precision():
    return WAVE, "float64"


def volts_times_probe_factor():
    return np.array([float(f"{v:.4f}") for v in WAVE / 10]) * 10, None


def gaps():
    return np.where(RNG.random(4000) < 0.01, np.nan, np.round(WAVE, 3)), "float64"


def negative_zero():
    return np.append(np.round(WAVE, 2), [-0.0, 0.0]), "float64"


def constant():
    return np.full(100, 5.1), "int16"


SHAPES = [
    text_with_three_decimals,
    twelve_bit_converter,
    sixteen_bit_wav_at_ten_amps_full_scale,
    twenty_four_bit_converter,
    single_precision_far_from_any_step,
    double_precision,
    volts_times_probe_factor,
    gaps,
    negative_zero,
    constant,
]


@pytest.mark.parametrize("shape", SHAPES)
def test_every_bit_comes_back(tmp_path, shape):
    current, stored_as = shape()
    capture = Capture(
        current,
        RATE / 3,
        start_s=-0.1 / 3,
        source="bay 2/pömp.csv",
        channel="CH1",
        captured_at=datetime(2026, 3, 4, 5, 6, 7, tzinfo=UTC),
        notes=(Note("zero-unverified", "ask", "No off stretch."),),
    )
    stored = store_waveform(tmp_path / "fleet.duckdb", capture)
    loaded = load_waveform(tmp_path / "fleet.duckdb", capture.identity)
    assert loaded.current_a.dtype == np.float64
    assert loaded.current_a.tobytes() == np.asarray(current, dtype="<f8").tobytes()
    assert loaded.identity == capture.identity
    for name in ("sample_rate_hz", "start_s", "source", "channel", "captured_at", "notes"):
        assert getattr(loaded, name) == getattr(capture, name), name
    if stored_as:
        assert stored.encoding.stored_as == stored_as
    if stored_as in ("int16", "int32"):
        assert stored.encoding.scale_a is not None
        assert stored.encoding.offset_a is not None


@settings(max_examples=60, deadline=None)
@given(st.lists(st.floats(width=64), min_size=1, max_size=40))
def test_any_floats_at_all_survive_the_encoding(values):
    current = np.array(values)
    stored, encoding = encode(current)
    decoded = encoding.decode(stored)
    assert decoded.tobytes() == current.tobytes()


def test_a_converter_record_is_small(tmp_path):
    """200,000 samples of a 12-bit converter in less than a byte and a half each."""
    noise = np.random.default_rng(1).normal(0, 0.05, 200_000)
    wave = 5 + 0.3 * np.sin(np.arange(200_000) / 40) + noise
    stored = store_waveform(tmp_path / "fleet.duckdb", Capture(np.rint(wave / 20 * 4096) * (20 / 4096), RATE))
    assert stored.path.stat().st_size < 1.5 * 200_000


def test_the_same_samples_are_stored_once_under_any_name(tmp_path):
    first = store_waveform(tmp_path / "fleet.duckdb", Capture(WAVE, RATE, source="a.csv"))
    second = store_waveform(tmp_path / "fleet.duckdb", Capture(WAVE.copy(), RATE, source="b.csv"))
    other = store_waveform(tmp_path / "fleet.duckdb", Capture(WAVE + 1, RATE, source="a.csv"))
    assert first.written
    assert not second.written
    assert first.path == second.path
    assert other.path != first.path
    assert len(list(waveform_folder(tmp_path / "fleet.duckdb").iterdir())) == 2


def test_a_damaged_file_is_refused_and_mended_by_storing_again(tmp_path):
    capture = Capture(np.round(WAVE, 3), RATE)
    stored = store_waveform(tmp_path / "fleet.duckdb", capture)
    stored.path.write_bytes(stored.path.read_bytes()[:-30])
    with pytest.raises(LedgerError, match="can't be read; restore it from a backup"):
        load_waveform(tmp_path / "fleet.duckdb", capture.identity)
    assert store_waveform(tmp_path / "fleet.duckdb", capture).written
    assert load_waveform(tmp_path / "fleet.duckdb", capture.identity).identity == capture.identity


def test_a_missing_file_is_named(tmp_path):
    with pytest.raises(LedgerError, match=r"abc\.parquet is missing"):
        load_waveform(tmp_path / "fleet.duckdb", "abc")


def test_a_folder_that_cannot_be_written_is_one_sentence_and_leaves_nothing(tmp_path):
    (tmp_path / "fleet.waveforms").write_text("a file where the folder should be")
    with pytest.raises(LedgerError, match="nothing was stored"):
        store_waveform(tmp_path / "fleet.duckdb", Capture(WAVE, RATE))
    assert [p.name for p in tmp_path.iterdir()] == ["fleet.waveforms"]


def test_the_front_door_reads_a_stored_waveform_exactly(tmp_path):
    capture = Capture(np.round(WAVE, 3), RATE, source="bay.csv", channel="CH2")
    stored = store_waveform(tmp_path / "fleet.duckdb", capture)
    assert read_capture(stored.path).identity == capture.identity
    assert read_capture(stored.path).channel == "CH2"


def test_every_changed_byte_of_a_stored_file_breaks_its_seal_before_a_parser_sees_it(tmp_path, monkeypatch):
    capture = Capture(np.round(WAVE[:200], 3), RATE)
    stored = store_waveform(tmp_path / "fleet.duckdb", capture)
    whole = stored.path.read_bytes()
    assert seal_holds(whole) is True

    def parse(content):
        raise AssertionError("a parser saw damaged bytes")

    monkeypatch.setattr(waveforms, "parse_waveform", parse)
    rng = np.random.default_rng(5)
    for place in rng.integers(0, len(whole), 200):
        changed = bytearray(whole)
        changed[place] ^= 1 << int(rng.integers(0, 8))
        if seal_holds(changed) is None:
            continue  # the seal itself is no longer to be seen: such a file goes to a child
        stored.path.write_bytes(changed)
        with pytest.raises(LedgerError, match="can't be read; restore it from a backup"):
            load_waveform(tmp_path / "fleet.duckdb", capture.identity)


def test_a_sealed_file_is_plain_parquet(tmp_path):
    stored = store_waveform(tmp_path / "fleet.duckdb", Capture(np.round(WAVE, 3), RATE))
    table = duckdb.sql(f"SELECT current_a FROM '{stored.path}'").fetchnumpy()["current_a"]
    np.testing.assert_array_equal(table, np.rint(np.round(WAVE, 3) * 1000))


def test_a_file_kept_before_there_were_seals_is_read_by_a_child(tmp_path, monkeypatch):
    capture = Capture(np.round(WAVE, 3), RATE, source="old.csv")
    stored = store_waveform(tmp_path / "fleet.duckdb", capture)
    table = pq.read_table(stored.path)
    pq.write_table(table, stored.path)
    assert seal_holds(stored.path.read_bytes()) is None
    monkeypatch.setattr(waveforms, "parse_waveform", None)  # not in this process
    loaded = load_waveform(tmp_path / "fleet.duckdb", capture.identity)
    assert (loaded.identity, loaded.source) == (capture.identity, "old.csv")
    # stored again, it is sealed
    assert store_waveform(tmp_path / "fleet.duckdb", capture).written
    assert seal_holds(stored.path.read_bytes()) is True


@pytest.mark.skipif(not HOSTILE.exists(), reason="the shared captures are not here")
def test_a_waveform_that_would_end_the_process_is_one_sentence(tmp_path):
    path = waveform_folder(tmp_path / "fleet.duckdb") / "abc.parquet"
    path.parent.mkdir()
    shutil.copyfile(HOSTILE, path)
    with pytest.raises(LedgerError, match=r"abc\.parquet can't be read; restore it from a backup"):
        load_waveform(tmp_path / "fleet.duckdb", "abc")
