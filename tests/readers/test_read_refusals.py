"""What can't be read is refused with a code and one sentence: what is wrong, where, what to do."""

import gzip
import io
import os
import pickle
import struct
import zlib

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from scipy.io import savemat

from ingest import limits
from ingest.errors import CaptureRefused
from ingest.readers import formats
from ingest.readers.capture_file import read_capture, read_capture_bytes
from ingest.readers.content import read_content
from ingest.readers.options import Options
from tests.readers.refused_files import (
    REFUSALS,
    npy,
    text,
)


@pytest.mark.parametrize("case", REFUSALS)
def test_refusal_names_the_file_the_fault_and_the_cure(case):
    data, options, code, words = REFUSALS[case]
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("visit.csv", data, **options)
    sentence = refused.value.text
    assert refused.value.code == code, sentence
    assert sentence.startswith("visit.csv: ")
    assert words in sentence
    assert sentence.endswith((".", "?"))
    assert "\n" not in sentence
    assert "Traceback" not in sentence


def test_there_are_at_least_25_refusals():
    assert len(REFUSALS) >= 25
    assert len({code for _, _, code, _ in REFUSALS.values()}) >= 25


def test_gzip_bomb_stops_at_the_cap(monkeypatch):
    monkeypatch.setattr(formats, "MAX_EXPANDED_BYTES", 4 * 2**20)
    bomb = gzip.compress(bytes(64 * 2**20))
    with pytest.raises(CaptureRefused) as refused:
        read_content("bomb.csv.gz", bomb, Options())
    assert refused.value.code == "too-large"
    assert "expanded file is larger than 4 MB" in refused.value.text


def test_mat_bomb_stops_at_the_cap(monkeypatch):
    from ingest.readers import matlab

    monkeypatch.setattr(matlab, "MAX_EXPANDED_BYTES", 2**20)
    file = io.BytesIO()
    savemat(file, {"current": np.zeros(400_000)}, do_compression=True)
    with pytest.raises(CaptureRefused) as refused:
        read_content("bomb.mat", file.getvalue(), Options())
    assert refused.value.code == "too-large"


def test_npz_bomb_stops_at_the_cap(monkeypatch):
    from ingest.readers import npz

    monkeypatch.setattr(npz, "MAX_EXPANDED_BYTES", 2**20)
    file = io.BytesIO()
    np.savez_compressed(file, current=np.zeros(400_000))
    with pytest.raises(CaptureRefused) as refused:
        read_content("bomb.npz", file.getvalue(), Options())
    assert refused.value.code == "too-large"


def test_parquet_bomb_is_told_from_its_metadata():
    file = io.BytesIO()
    table = pa.table({"current_A": pa.array(np.zeros(1_000_000))})
    with pq.ParquetWriter(file, table.schema) as writer:
        for _ in range(6):
            writer.write_table(table)
    assert len(file.getvalue()) < 100_000
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("bomb.parquet", file.getvalue())
    assert refused.value.code == "too-many-samples"


def test_npy_that_promises_more_than_it_holds_allocates_nothing():
    for shape in ((10**12,), (4_000_000_000, 4_000_000_000), (-1,)):
        file = io.BytesIO()
        np.lib.format.write_array_header_1_0(file, {"descr": "<f8", "fortran_order": False, "shape": shape})
        with pytest.raises(CaptureRefused) as refused:
            read_capture_bytes("a.npy", file.getvalue() + bytes(64))
        assert refused.value.code == "damaged"


def test_too_many_columns_are_refused():
    wide = ("\n".join([",".join(["1.5"] * 1_200)] * 100)).encode()
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("wide.csv", wide)
    assert refused.value.code in ("too-many-columns", "no-table")


def test_too_many_rows_are_refused(monkeypatch):
    monkeypatch.setattr(limits, "MAX_SAMPLES", 500)
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("long.csv", text())
    assert refused.value.code == "too-many-samples"
    assert "600 rows" in refused.value.text


def test_time_limit_stops_reading():
    deadline = limits.Deadline(seconds=-1)
    with pytest.raises(CaptureRefused) as refused:
        formats.read_table(text(), deadline)
    assert refused.value.code == "took-too-long"


def test_large_file_is_refused_before_it_is_read(tmp_path, monkeypatch):
    from ingest.readers import capture_file

    monkeypatch.setattr(capture_file, "MAX_FILE_BYTES", 1_000)
    path = tmp_path / "large.csv"
    path.write_bytes(text())
    with pytest.raises(CaptureRefused) as refused:
        read_capture(path)
    assert refused.value.code == "too-large"
    assert refused.value.text.startswith("large.csv: ")


@pytest.mark.parametrize("kind", ["folder", "pipe", "device", "missing", "nul", "unreadable link"])
def test_path_that_is_no_file_is_refused_without_waiting(tmp_path, kind):
    path = tmp_path / "capture.csv"
    if kind == "folder":
        path.mkdir()
    elif kind == "pipe":
        os.mkfifo(path)
    elif kind == "device":
        path = "/dev/zero"
    elif kind == "nul":
        path = str(path) + "\0.csv"
    elif kind == "unreadable link":
        path.symlink_to(path)
    with pytest.raises(CaptureRefused) as refused:
        read_capture(path)
    assert refused.value.code in ("not-a-file", "no-such-file", "not-readable")
    assert refused.value.text.endswith(".")


def test_nothing_is_executed_on_reading_a_pickle(tmp_path):
    class Trap:
        def __reduce__(self):
            return (os.mkdir, (str(tmp_path / "sprung"),))

    for data in (pickle.dumps(Trap()), npy(np.array([Trap()], dtype=object))):
        with pytest.raises(CaptureRefused):
            read_capture_bytes("trap.npy", data)
    assert not (tmp_path / "sprung").exists()


def test_level_4_mat_with_a_giant_size_is_damaged():
    head = struct.pack("<5i", 0, 2_000_000_000, 1, 0, 2) + b"x\0" + zlib.compress(b"x")
    with pytest.raises(CaptureRefused) as refused:
        read_capture_bytes("a.mat", head)
    assert refused.value.code == "damaged"
