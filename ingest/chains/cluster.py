"""The same chains on a Dask cluster: a scheduler's workers measure, this process alone has the ledger.

A worker needs this program and the folders of captures and waveforms under the same paths (waveforms may lie
in an object store, for which each worker has credentials of its own); it measures in a process of its own, as
a machine that measures alone does, so that the readings are the same and a file that ends one ends no worker.
A scheduler runs what anyone who reaches it sends: it is spoken to over TLS with
certificates, or on this machine alone.
"""

from __future__ import annotations

import threading
import uuid
from collections import deque
from collections.abc import Callable, Generator, Iterable, Iterator, Sequence
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from ingest.chains.chain import CaptureResult, Chain, Work, measure_chain
from ingest.chains.processes import Workers
from ingest.chains.resuming import left_of, let_wait, reused
from ingest.chains.told import (
    chain_as_json,
    chain_from_json,
    row_as_json,
    row_from_json,
    work_as_json,
    work_from_json,
)
from ingest.errors import EntryRefused, LedgerError
from ingest.extras import how_to_install
from ingest.loopback import is_loopback
from ingest.object_path import place

ANSWERS_WITHIN_S = 20
LOOKS_EVERY_S = 15  # whether there are workers left, while none of them answers
AHEAD = 4  # chains sent for each thread of a worker, so that none waits for the next


def on_cluster(
    address: str, chains: Sequence[Chain], work: Work, waiting: Path | None
) -> Generator[CaptureResult]:
    """Yield the row of each capture, measured by the workers of the scheduler at `address`.

    Raises EntryRefused for an address that is no safe one, LedgerError where no cluster answers there, its
    workers can't do this work, or none is left.
    """
    refuse_open_address(address)
    left = []
    for chain in chains:
        there = left_of(chain, waiting)
        rows = _all_there(chain, work, there)
        if rows is None:
            left.append(chain)
        else:
            yield from rows
    if left:
        yield from _measured(address, left, work, waiting)


def parts_on_cluster(
    address: str, function: Callable[..., Any], parts: Iterable[tuple[Any, ...]], method: Callable[[], Any]
) -> Generator[Any]:
    """Yield function(*part) of each part, in their order, worked out by the workers of the scheduler at
    `address`; `method()` must be the same there as here. Raises as `on_cluster`."""
    refuse_open_address(address)
    client = _client(address)
    try:
        _refuse_other_release(client, address, method)
        sent: deque[Any] = deque()
        for part in parts:
            sent.append(client.submit(function, *part, pure=False))
            if len(sent) >= AHEAD * max(len(_workers_of(client)), 1):
                yield _result_of(client, sent.popleft(), address)
        while sent:
            yield _result_of(client, sent.popleft(), address)
    finally:
        client.close()


def _told_by_workers(client: Any, address: str, function: Callable[..., Any], *args: Any) -> dict[str, Any]:
    """Return what function(*args), or its failure, is on each worker, by its address."""
    try:
        found: dict[str, Any] = client.run(function, *args, on_error="return")
    except ValueError:
        found = {}
    if not found:
        raise LedgerError("no-workers", f"The scheduler at {address} has no workers; start some.")
    return found


def _refuse_other_release(client: Any, address: str, method: Callable[[], Any]) -> None:
    for worker, told in _told_by_workers(client, address, method).items():
        if told != method():
            raise LedgerError(
                "worker-unfit", f"Worker {worker} works by another method: install the same release there."
            )


def _result_of(client: Any, future: Any, address: str) -> Any:
    from distributed import wait

    while True:
        try:
            with client.as_current():
                wait([future], timeout=LOOKS_EVERY_S)
            break
        except TimeoutError:
            if not _workers_of(client):
                raise _lost(address) from None
    if future.status != "finished":
        raise _lost(address) from (future.exception() if future.status == "error" else None)
    return future.result()


def refuse_open_address(address: str) -> None:
    """Raise EntryRefused unless `address` is tls://HOST:PORT, or tcp:// on this machine itself."""
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
        parts = urlsplit("")
    if not host or not port or parts.scheme not in ("tls", "tcp"):
        raise EntryRefused("bad-cluster", f"{address}: give the scheduler's address as tls://HOST:PORT.")
    if parts.scheme == "tcp" and not is_loopback(host):
        raise EntryRefused(
            "open-cluster",
            f"{address}: a scheduler runs what anyone who reaches it sends; give it certificates and use"
            f" tls://{host}:{port}. tcp:// is for this machine alone (127.0.0.1).",
        )


def _all_there(chain: Chain, work: Work, there: Any) -> tuple[CaptureResult, ...] | None:
    """Return the rows of a chain of which all wait, else None."""
    if not there:
        return None
    missing = False

    def take(link: Any) -> CaptureResult:
        nonlocal missing
        row = reused(link, there, work)
        missing |= row is None
        return row or CaptureResult(link.name)

    rows = measure_chain(chain, work, take=take)
    return None if missing else rows


def _measured(
    address: str, chains: Sequence[Chain], work: Work, waiting: Path | None
) -> Iterator[CaptureResult]:
    from distributed import wait

    client = _client(address)
    run = {"id": uuid.uuid4().hex, "work": work_as_json(work)}
    try:
        _refuse_unfit(client, address, chains, work)
        [shared] = client.scatter([run], broadcast=True, hash=False)
        ahead = iter(chains)
        pending: dict[Any, Chain] = {}
        while True:
            threads = sum(worker["nthreads"] for worker in _workers_of(client).values())
            while len(pending) < AHEAD * max(threads, 1) and (chain := next(ahead, None)) is not None:
                future = client.submit(measure_told, chain_as_json(chain), shared, pure=False)
                pending[future] = chain
            if not pending:
                break
            try:
                with client.as_current():
                    done = wait(list(pending), timeout=LOOKS_EVERY_S, return_when="FIRST_COMPLETED").done
            except TimeoutError:
                if not _workers_of(client):
                    raise _lost(address) from None
                continue
            for future in done:
                chain = pending.pop(future)
                rows = _rows_of(future, address)
                let_wait(chain, rows, waiting, {})
                yield from rows
        client.run(end_run, run["id"])
    finally:
        client.close()


def _client(address: str) -> Any:
    try:
        from distributed import Client
        from distributed.security import Security
    except ImportError as error:
        raise EntryRefused(
            "no-dask", f"What reaches a cluster isn't installed: {how_to_install('cluster')}."
        ) from error
    security: Any = Security()
    if address.startswith("tls:") and not (security.tls_ca_file and security.tls_client_cert):
        raise EntryRefused(
            "no-certificates",
            "tls:// needs certificates: name them in Dask's configuration (distributed.comm.tls: ca-file,"
            " client.cert, client.key; docs/outgrowing_one_machine.md).",
        )
    try:
        return Client(address, timeout=ANSWERS_WITHIN_S, set_as_default=False, security=security)
    except (OSError, TimeoutError, ValueError) as error:
        raise LedgerError(
            "no-cluster",
            f"No scheduler answers at {address} ({type(error).__name__}): start one there, look at the"
            " certificates, or measure here without --cluster.",
        ) from error


def _workers_of(client: Any) -> dict[str, Any]:
    workers: dict[str, Any] = client.scheduler_info(n_workers=-1)["workers"]
    return workers


def _refuse_unfit(client: Any, address: str, chains: Sequence[Chain], work: Work) -> None:
    """Raise LedgerError unless there are workers, with our method, that see the folders."""
    from ingest.measuring.measurement import METHOD_VERSION

    folders = {str(link.path.absolute().parent) for chain in chains for link in chain.links if link.path}
    if work.keep_in is not None:
        work.keep_in.mkdir(parents=True, exist_ok=True)
        folders.add(str(work.keep_in.absolute()))
    for worker, told in _told_by_workers(client, address, fit_for, sorted(folders)).items():
        if not isinstance(told, dict):
            raise LedgerError(
                "worker-unfit",
                f"Worker {worker} can't run pumpledger ({type(told).__name__}): install it there.",
            )
        if told["method_version"] != METHOD_VERSION:
            raise LedgerError(
                "worker-unfit",
                f"Worker {worker} measures by method {told['method_version']}, this program by"
                f" {METHOD_VERSION}: install the same release there.",
            )
        if told["missing"]:
            raise LedgerError(
                "worker-unfit",
                f"Worker {worker} does not see {told['missing'][0]}: captures and waveforms have to lie on"
                " storage that every worker has under the same path.",
            )


def _rows_of(future: Any, address: str) -> tuple[CaptureResult, ...]:
    if future.status != "finished":
        log_error = future.exception() if future.status == "error" else None
        raise _lost(address) from log_error
    return tuple(row_from_json(told) for told in future.result())


def _lost(address: str) -> LedgerError:
    return LedgerError(
        "cluster-lost",
        f"The workers at {address} were lost; what is finished waits beside the ledger, and the same command"
        " again goes on from there.",
    )


# What runs on a worker.

_lock = threading.Lock()
_runs: dict[str, Workers] = {}


def fit_for(folders: list[str]) -> dict[str, Any]:
    """Return which method this worker has, and the folders that it does not see."""
    from ingest.measuring.measurement import METHOD_VERSION

    missing = [folder for folder in folders if not _seen(folder)]
    return {"method_version": METHOD_VERSION, "missing": missing}


def _seen(folder: str) -> bool:
    try:
        return place(folder).is_dir()
    except LedgerError:
        return False


def measure_told(chain: dict[str, Any], run: dict[str, Any]) -> list[dict[str, Any]]:
    """Measure one chain, as JSON holds it, and return its rows likewise."""
    work = work_from_json(run["work"])
    with _lock:
        workers = _runs.get(run["id"]) or _runs.setdefault(run["id"], Workers(work))
    return [row_as_json(row) for row in measure_chain(chain_from_json(chain), work, take=workers.take)]


def end_run(run_id: str) -> None:
    """End the processes that measured for a run."""
    with _lock:
        workers = _runs.pop(run_id, None)
    if workers is not None:
        workers.close()
