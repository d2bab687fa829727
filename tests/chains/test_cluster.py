"""The same chains on a scheduler and two workers, processes of their own; one is killed midway."""

import json
import os
import signal
import subprocess
import sys
import time
from contextlib import ExitStack, contextmanager

import pytest

from ingest.chains.chain import Work, measure_chain
from ingest.chains.cluster import refuse_open_address
from ingest.chains.running import Where, run_chains
from ingest.errors import EntryRefused, LedgerError
from tests.chains.captures import chains_in, rows_of

NAMES = (
    "ca-file",
    "scheduler.cert",
    "scheduler.key",
    "worker.cert",
    "worker.key",
    "client.cert",
    "client.key",
)


@pytest.mark.parametrize(
    ("address", "why"),
    [
        ("tcp://10.0.0.5:8786", "use tls://10.0.0.5:8786"),
        ("tcp://db.example:8786", "use tls://"),
        ("tcp://[fe80::1]:8786", "use tls://"),
        ("tcp://127.0.0.1.example:8786", "use tls://"),
        ("10.0.0.5:8786", "as tls://HOST:PORT"),
        ("ws://127.0.0.1:8786", "as tls://HOST:PORT"),
        ("tls://host", "as tls://HOST:PORT"),
        ("tls://host:99999", "as tls://HOST:PORT"),
        ("tls://[", "as tls://HOST:PORT"),
        ("", "as tls://HOST:PORT"),
    ],
)
def test_an_address_that_others_could_reach_needs_tls(address, why):
    with pytest.raises(EntryRefused, match=why):
        refuse_open_address(address)


@pytest.mark.parametrize("address", ["tls://10.0.0.5:8786", "tcp://127.0.0.1:8786", "tcp://[::1]:8786"])
def test_an_address_that_is_safe(address):
    refuse_open_address(address)


@contextmanager
def running(*command, env):
    process = subprocess.Popen(
        [sys.executable, "-m", *map(str, command)],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=env,
    )
    try:
        yield process
    finally:
        process.kill()
        process.wait()


@pytest.fixture
def tls(tmp_path):
    """Dask's settings for one certificate of this test's own."""
    pem, cert = tmp_path / "cluster.pem", tmp_path / "cert.pem"
    subprocess.run(
        ["openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:prime256v1", "-nodes",
         "-subj", "/CN=cluster", "-days", "2", "-keyout", pem, "-out", cert],
        check=True, capture_output=True,
    )  # fmt: skip
    pem.write_text(pem.read_text() + cert.read_text())
    return {f"distributed.comm.tls.{name}": str(pem) for name in NAMES}


def as_environment(settings):
    """Return Dask's settings as its processes read them from their environment."""
    names = (key.upper().replace(".", "__").replace("-", "_") for key in settings)
    return {f"DASK_{name}": value for name, value in zip(names, settings.values(), strict=True)}


def test_each_capture_once_though_a_worker_is_killed_midway(tmp_path, tls):
    pytest.importorskip("distributed", reason="the extra cluster is not installed")
    import dask
    from distributed import Client

    chains = chains_in(tmp_path / "captures", pumps=6, captures=2)
    alone = {row.name: row for chain in chains for row in measure_chain(chain, Work(tmp_path / "alone"))}
    work = Work(tmp_path / "waveforms")
    env = os.environ | as_environment(tls) | {"PYTHONPATH": os.pathsep.join(sys.path)}
    told = tmp_path / "scheduler.json"
    with ExitStack() as stack, dask.config.set(tls):
        stack.enter_context(
            running("distributed.cli.dask_scheduler", "--protocol", "tls", "--host", "127.0.0.1", "--port", 0,
                    "--no-dashboard", "--scheduler-file", told, env=env)
        )  # fmt: skip
        while not told.exists():
            time.sleep(0.05)
        address = json.loads(told.read_text())["address"]
        assert address.startswith("tls://127.0.0.1:")
        with pytest.raises(LedgerError, match="has no workers"):
            run_chains(chains, work, where=Where(cluster=address))
        worker = ("distributed.cli.dask_worker", address, "--protocol", "tls", "--nthreads", 1, "--no-nanny",
                  "--no-dashboard", "--local-directory", tmp_path / "scratch")  # fmt: skip
        workers = [stack.enter_context(running(*worker, env=env)) for _ in range(2)]
        with Client(address, set_as_default=False) as client:
            client.wait_for_workers(2, timeout=60)
        seen = []

        def kill_one(done, of, name):
            seen.append(name)
            if done == 2:
                workers[0].send_signal(signal.SIGKILL)

        run = run_chains(
            chains, work, where=Where(cluster=address), waiting=tmp_path / "waiting", progress=kill_one
        )
        assert workers[0].wait() == -signal.SIGKILL
        assert sorted(seen) == sorted(alone)
        assert rows_of(run.rows) == rows_of(alone)
        assert len(list((tmp_path / "waveforms").glob("*.parquet"))) == 12
        again = run_chains(chains, work, where=Where(cluster=address), waiting=tmp_path / "waiting")
        assert rows_of(again.rows) == rows_of(alone)
        (tmp_path / "captures").rename(tmp_path / "moved")
        with pytest.raises(LedgerError, match="does not see"):
            run_chains(chains, work, where=Where(cluster=address))
