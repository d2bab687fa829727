"""Peak memory of reading files made to swell, and of large honest ones; each case in a process of its own.

Run by hand: python -m tests.benchmarks.read_memory. Prints what came out and the peak.
"""

from __future__ import annotations

import gzip
import io
import multiprocessing
import resource
import time
import zlib
from collections.abc import Callable

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq

from ingest.errors import PumpledgerError
from ingest.readers.capture_file import read_capture_bytes


def gzip_bomb() -> tuple[str, bytes]:
    packer = zlib.compressobj(9, wbits=31)
    block = bytes(1 << 20)
    return "bomb.csv.gz", b"".join(packer.compress(block) for _ in range(1_000)) + packer.flush()


def npz_bomb() -> tuple[str, bytes]:
    file = io.BytesIO()
    np.savez_compressed(file, a=np.zeros(20_000_000))
    return "bomb.npz", file.getvalue()


def parquet_bomb() -> tuple[str, bytes]:
    file = io.BytesIO()
    table = pa.table({"current_A": np.zeros(1_000_000)})
    with pq.ParquetWriter(file, table.schema) as writer:
        for _ in range(50):
            writer.write_table(table)
    return "bomb.parquet", file.getvalue()


def nested_gzip() -> tuple[str, bytes]:
    name, data = gzip_bomb()
    return name, gzip.compress(data)


def one_endless_line() -> tuple[str, bytes]:
    return "line.csv", b"1.5," * 20_000_000


def plain_rows() -> tuple[str, bytes]:
    line = b"0.0000500,4.2000000\n"
    head = b"Sample rate,20000\ncurrent (A),supply (V)\n"
    return "large.csv", head + line * 2_000_000


def overflow_everywhere() -> tuple[str, bytes]:
    return "marks.csv", b"Sample rate,20000\ncurrent (A),supply (V)\n" + b"4.2,12.1\n-,****\n" * 1_200_000


def utf_16_rows() -> tuple[str, bytes]:
    return "wide.csv", ("Sample rate,20000\ncurrent (A)\n" + "4.2000000\n" * 2_000_000).encode("utf-16")


def tiny() -> tuple[str, bytes]:
    return "tiny.csv", b"time (s),current (A)\n" + b"".join(b"%f,4.2\n" % (n / 1e3) for n in range(100))


CASES: list[Callable[[], tuple[str, bytes]]] = [
    tiny,
    gzip_bomb,
    nested_gzip,
    npz_bomb,
    parquet_bomb,
    one_endless_line,
    plain_rows,
    overflow_everywhere,
    utf_16_rows,
]


def run(name: str, data: bytes, results: multiprocessing.Queue) -> None:
    start = time.perf_counter()
    try:
        capture = read_capture_bytes(name, data, channel="1")
        outcome = f"read {len(capture.current_a):,} samples"
    except PumpledgerError as refused:
        outcome = f"refused {refused.code}"
    took = time.perf_counter() - start
    results.put((outcome, took, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024))


def main() -> None:
    context = multiprocessing.get_context("spawn")
    base = 0.0
    for case in CASES:
        name, data = case()
        results = context.Queue()
        worker = context.Process(target=run, args=(name, data, results))
        worker.start()
        outcome, took, peak = results.get(timeout=120)
        worker.join()
        base = base or peak
        print(
            f"{case.__name__:20s} {len(data) / 2**20:7.1f} MB: {outcome:28s} {took:6.2f} s, "
            f"{peak:5.0f} MB in all, {peak - base:5.0f} MB more than a tiny file"
        )


if __name__ == "__main__":
    main()
