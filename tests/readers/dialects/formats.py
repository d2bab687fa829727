"""Open formats that are not text."""

from __future__ import annotations

import io
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from scipy.io import savemat, wavfile

from tests.readers.dialects.scenario import Scenario, scenario, times, waveform

T, I = times(), waveform()  # noqa: E741


def _npy(array: np.ndarray) -> bytes:
    file = io.BytesIO()
    np.save(file, array)
    return file.getvalue()


def _mat(content: dict[str, Any], **how: Any) -> bytes:
    file = io.BytesIO()
    savemat(file, content, **how)
    return file.getvalue()


def _wav(samples: np.ndarray, rate: int = 20_000) -> bytes:
    file = io.BytesIO()
    wavfile.write(file, rate, samples)
    return file.getvalue()


def _parquet(columns: dict[str, Any]) -> bytes:
    file = io.BytesIO()
    pq.write_table(pa.table(columns), file)
    return file.getvalue()


@scenario
def npy_two_columns() -> Scenario:
    return Scenario("a.npy", _npy(np.column_stack([T, I])), I)


@scenario
def npy_two_rows_float32() -> Scenario:
    return Scenario("a.npy", _npy(np.stack([T, I]).astype(np.float32)), I, notes=("unit-assumed",))


@scenario
def npy_values_only() -> Scenario:
    return Scenario("a.npy", _npy(I), I, options={"sample_rate_hz": 20_000})


@scenario
def npy_named_fields() -> Scenario:
    array = np.zeros(len(I), dtype=[("time_s", "f8"), ("current_mA", "f4")])
    array["time_s"], array["current_mA"] = T, I * 1e3
    return Scenario("a.npy", _npy(array), I, tolerance_a=1e-3)


@scenario
def npz_with_sample_rate() -> Scenario:
    file = io.BytesIO()
    np.savez_compressed(file, current=I, sample_rate=20_000.0)
    return Scenario("a.npz", file.getvalue(), I)


@scenario
def mat_5_time_and_current() -> Scenario:
    return Scenario("a.mat", _mat({"t": T, "current": I}), I)


@scenario
def mat_5_compressed_structure() -> Scenario:
    data = _mat({"data": {"time": T, "current_A": I, "supply_V": 12 + 0 * I}}, do_compression=True)
    return Scenario("a.mat", data, I, notes=("channel-chosen",))


@scenario
def mat_4() -> Scenario:
    return Scenario("a.mat", _mat({"t": T, "current": I}, format="4"), I)


@scenario
def mat_5_vector_with_rate() -> Scenario:
    return Scenario("a.mat", _mat({"Fs": 20_000.0, "strom": I}), I)


@scenario
def wav_16_bit() -> Scenario:
    data = _wav(np.round(I / 10 * 32768).astype(np.int16))
    return Scenario("a.wav", data, I, options={"full_scale": "10A"}, tolerance_a=3e-4)


@scenario
def wav_32_bit_stereo() -> Scenario:
    two = np.stack([0 * I, I / 10], axis=1)
    data = _wav(np.round(two * 2**31).astype(np.int32))
    return Scenario("a.wav", data, I, options={"full_scale": 10, "channel": "2"})


@scenario
def wav_float() -> Scenario:
    return Scenario("a.wav", _wav((I / 10).astype(np.float32)), I, options={"full_scale": "10 A"})


@scenario
def parquet_flat() -> Scenario:
    return Scenario("a.parquet", _parquet({"time_ms": T * 1e3, "current_A": I}), I)


@scenario
def parquet_with_timestamps() -> Scenario:
    stamps = np.datetime64("2026-03-13T08:15:30", "ns") + np.round(T * 1e9).astype("timedelta64[ns]")
    return Scenario("a.parquet", _parquet({"when": stamps, "current_A": I}), I)


@scenario
def parquet_lists_second_record() -> Scenario:
    data = _parquet({"sample_rate": [20_000.0, 20_000.0], "current_A": [list(I + 1), list(I)]})
    return Scenario("a.parquet", data, I, options={"record": 2}, notes=("record-chosen",))
