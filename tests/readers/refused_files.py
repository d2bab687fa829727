"""Files that can't be read, each with the code and words of its refusal."""

import gzip
import io
import pickle
import zipfile

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from scipy.io import savemat, wavfile

from tests.readers.dialects.scenario import printed, rows, times, waveform

T, I = times(600), waveform(600)  # noqa: E741
HEAD = "time (s),current (A)\n"


def text(head=HEAD, *columns, **how):
    return (head + rows(*(columns or (T, I)), **how)).encode()


def changed(row, cell, column=1):
    cells = [printed(T, ".7f"), printed(I, ".7f")]
    cells[column][row] = cell
    return text(HEAD, *cells)


def npy(array):
    file = io.BytesIO()
    np.save(file, array, allow_pickle=True)
    return file.getvalue()


def mat(**content):
    file = io.BytesIO()
    savemat(file, content)
    return file.getvalue()


def wav(samples):
    file = io.BytesIO()
    wavfile.write(file, 20_000, samples)
    return file.getvalue()


def parquet(columns):
    file = io.BytesIO()
    pq.write_table(pa.table(columns), file)
    return file.getvalue()


def workbook():
    file = io.BytesIO()
    with zipfile.ZipFile(file, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("xl/worksheets/sheet1.xml", "<worksheet/>")
    return file.getvalue()


swapped = np.array([*range(10), 11, 10, *range(12, 600)])
LATE = np.where(np.arange(600) < 300, 1, 1000)

# name: (file, options, code, words the sentence must hold)
REFUSALS = {
    "nothing in it": (b"", {}, "empty", "file is empty"),
    "only blanks": (b" \n\r\n\t\n", {}, "empty", "export the capture again"),
    "rows out of order": (text(HEAD, T[swapped], I[swapped]), {}, "time-order", "row 13 goes back in time"),
    "shuffled rows without header": (
        text("", T[np.random.default_rng(1).permutation(600)], I),
        {},
        "time-order",
        "goes back in time",
    ),
    "values only": (text("", I), {}, "sample-rate-needed", "--sample-rate"),
    "channel names only": (
        text("CH1,CH2\n", I, I + 1),
        {"channel": "CH1"},
        "sample-rate-needed",
        "--sample-rate 100kS/s",
    ),
    "volts without probe": (text("time (s),CH1 (V)\n"), {}, "probe-needed", "--probe 100mV/A"),
    "two voltage channels": (
        text("time (s),CH1 (V),CH2 (V)\n", T, I, I),
        {"probe": "100mV/A"},
        "channel-needed",
        "--channel with one of: CH1 (V), CH2 (V)",
    ),
    "two current channels": (
        text("time (s),Front (A),Rear (A)\n", T, I, I),
        {},
        "channel-needed",
        "Front (A), Rear (A)",
    ),
    "no such channel": (text(), {"channel": "CH9"}, "no-such-channel", "there is no channel 'CH9'"),
    "same name twice": (
        text("time (s),CH1 (A),CH1 (V)\n", T, I, I),
        {"channel": "ch1"},
        "channel-ambiguous",
        "number of one, 1 to 2",
    ),
    "a number that is no other channel's": (
        text("time (s),CH1 (A),CH3 (A)\n", T, I, I),
        {"channel": "CH2"},
        "no-such-channel",
        "CH1 (A), CH3 (A)",
    ),
    "called alike": (
        text("time (s),Value,Value\n", T, I, I),
        {"probe": "1V/A"},
        "channel-needed",
        "--channel with one of: Value 1, Value 2",
    ),
    "one row in another unit of time": (
        text(
            "t,I\n",
            [f"{t * 1e6:.1f} {'ns' if n == 57 else 'µs'}" for n, t in enumerate(T)],
            [f"{i:.4f} A" for i in I],
        ),
        {},
        "time-order",
        "row 59 goes back in time",
    ),
    "volts in a column of amperes": (
        text(
            "t,I\n",
            [f"{t * 1e6:.1f} µs" for t in T],
            [f"{i:.4f} {'V' if n == 100 else 'A'}" for n, i in enumerate(I)],
        ),
        {},
        "mixed-units",
        "row 102",
    ),
    "no unit, mean below a pump's": (text("Time,CH1\n", T, I / 100), {}, "unit-needed", "mean of 0.04"),
    "no unit, mean above a pump's": (text("Time,CH1\n", T, I * 1000), {}, "unit-needed", "--probe"),
    "unknown unit": (text("Time (s),CH1 (quux)\n"), {}, "unknown-unit", "'quux'"),
    "spectrum by name": (text("Frequency (Hz),Level (dB)\n"), {}, "not-a-time-record", "spectrum"),
    "spectrum in a preamble": (
        text("Horizontal Units,Hz\nVertical Units,dB\nFreq,FFT\n"),
        {},
        "not-a-time-record",
        "export the trace itself",
    ),
    "positions": (text("t (s),x (m),y (m)\n", T, I, I), {}, "not-electrical", "the columns are in m"),
    "chosen channel is not electrical": (
        text("t (s),x (rpm),y (A)\n", T, I, I),
        {"channel": "x"},
        "not-electrical",
        "x is in rpm",
    ),
    "too few samples": (text(HEAD, T[:63], I[:63]), {}, "too-short", "only 63 samples"),
    "too few running samples": (
        text(HEAD, T, np.where(np.arange(600) < 560, 0.001, I)),
        {},
        "too-short",
        "only 40 samples of running current; at least 64",
    ),
    "above 100 A": (text(HEAD, T, I * 30), {}, "above-100-a", "probe factor"),
    "wrong probe": (
        text("time (s),CH1 (V)\n", T, I),
        {"probe": "10mV/A"},
        "above-100-a",
        "is the probe factor right (--probe)",
    ),
    "decimal point lost in one row": (changed(300, "4213"), {}, "thousandfold-jump", "row 302"),
    "unit changes within the file": (text(HEAD, T, I / 1000 * LATE), {}, "thousandfold-jump", "from row 302"),
    "words in a cell": (changed(41, "bad"), {}, "bad-cell", "row 43: 'bad' is not a number"),
    "thousands mark": (
        text("t (s);I (A)\n", printed(T, ".7f"), printed(I, ".3f"), separator=";", decimal=",").replace(
            b"0,0025000;4,", b"0,0025000;1.234,"
        ),
        {},
        "thousands-mark",
        "row 52: '1.234,",
    ),
    "another decimal sign in one row": (
        text("t (s);I (A)\n", separator=";").replace(b"0.0025000;4.", b"0.0025000;4,"),
        {},
        "mixed-decimal",
        "row 52",
    ),
    "comma twice": (text("t (s),I (A)\n", decimal=","), {}, "decimal-comma", "can't be told apart"),
    "hole in the record": (
        text(HEAD, np.where(np.arange(600) < 300, T, T + 0.5), I),
        {},
        "time-hole",
        "before row 302",
    ),
    "time stands still": (
        text(HEAD, np.zeros(600), I),
        {},
        "time-stands-still",
        "time column never changes",
    ),
    "time missing in a row": (changed(41, "", 0), {}, "time-missing", "row 43 has no time"),
    "too many gaps": (
        text(HEAD, printed(T, ".7f"), [c if n % 8 else "∞" for n, c in enumerate(printed(I, ".7f"))]),
        {},
        "too-many-gaps",
        "overflow marks",
    ),
    "all gaps": (text("time,A,B (A)\n", printed(T, ".7f"), printed(I, ".4f"), ["nan"] * 600), {}, None, ""),
    "converter codes by unit": (
        text("time (s),CH1 (counts)\n", T, np.round(I * 500)),
        {},
        "raw-codes",
        "converter codes",
    ),
    "converter codes taller than the screen": (
        text(
            "Vertical Units,A,\nVertical Scale,0.5,\nSampling Period,5e-5,\nWaveform Data,\n",
            [str(round(i * 20)) for i in I],
            after=",",
        ),
        {},
        "raw-codes",
        "what one is worth",
    ),
    "no such record": (text(), {"record": 3}, "no-such-record", "record 3 was asked for"),
    "words only": (
        b"dear customer,\nplease find enclosed\nthe trace\n",
        {},
        "no-table",
        "no rows of numbers",
    ),
    "recorder configuration": (
        b"station,rec,2013\n8,4A,4D\n1,IA,,,A,0.1,0,0,-1,1,1,1,s\n60\n",
        {},
        "recorder-config",
        "without samples",
    ),
    "web page": (b"<!DOCTYPE html><html><body>1,2</body></html>", {}, "document", "web page"),
    "JSON": (b'{"time": [0, 1], "current": [4, 5]}', {}, "document", "JSON"),
    "workbook named csv": (workbook(), {}, "workbook", "save the sheet as CSV"),
    "old workbook": (b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(600), {}, "workbook", "CSV"),
    "HDF5": (b"\x89HDF\r\n\x1a\n" + bytes(600), {}, "hdf5", "-v7"),
    "other recorder": (b"TDSm" + bytes(600), {}, "recorder-binary", "export the trace as CSV"),
    "unknown binary": (np.random.default_rng(1).bytes(64) + bytes(2_000), {}, "binary", "binary file"),
    "picture": (b"\x89PNG\r\n\x1a\n" + bytes(600), {}, "picture", "not its samples"),
    "PDF": (b"%PDF-1.7\n" + bytes(600), {}, "document", "PDF"),
    "pickle": (pickle.dumps({"current": [4.0] * 100}), {}, "pickle", "never opened because it can run code"),
    "npy of objects": (npy(np.array([{"a": 1}] * 100, dtype=object)), {}, "pickle", "never unpickled"),
    "npy cut short": (npy(I)[:1_000], {}, "damaged", "cut short"),
    "npy of words": (npy(np.array(["a"] * 100)), {}, "no-table", "no vector of numbers"),
    "mat cut short": (mat(current=I)[:1_000], {}, "damaged", "MATLAB file is damaged"),
    "mat of words": (mat(note="hello"), {}, "no-table", "no vector of numbers"),
    "wav without full scale": (
        wav((I * 3_000).astype(np.int16)),
        {},
        "full-scale-needed",
        "--full-scale 10A",
    ),
    "wav cut in its header": (wav((I * 3_000).astype(np.int16))[:30], {}, "damaged", "WAV file is damaged"),
    "parquet of words": (parquet({"a": ["x", "y"]}), {}, "no-table", "no column of numbers"),
    "parquet cut short": (parquet({"a": I})[:-20], {}, "damaged", "Parquet file is damaged"),
    "gzip cut short": (gzip.compress(text())[:-30], {}, "damaged", "gzip file"),
    "gzip in gzip": (gzip.compress(gzip.compress(text())), {}, "compressed", "more than once"),
    "database": (b"SQLite format 3\0" + bytes(600), {}, "database", "a database"),
    "compressed audio": (b"ID3" + bytes(600), {}, "audio", "record WAV instead"),
    "times and nothing beside them": (
        text("time (s),\n", T, [""] * 600),
        {},
        "no-channel",
        "no values beside",
    ),
    "bzip2": (b"BZh91AY&SY" + bytes(100), {}, "compressed", "gzip"),
}
del REFUSALS["all gaps"]
