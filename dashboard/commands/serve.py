"""`pumpledger serve`: the dashboard on this machine."""

from __future__ import annotations

import argparse
import os
import signal
import socket
import subprocess
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import TYPE_CHECKING

from dashboard.words.terminal import tell
from ingest.errors import PumpledgerError

if TYPE_CHECKING:
    from dashboard.serving.supervisor import Supervisor

EXAMPLE = "pumpledger serve --ledger demo/pumpledger.duckdb"
DEFAULT_PORT = 8501
START_WITHIN_S = 90.0


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "--port", type=_port, default=DEFAULT_PORT, help=f"port to serve on (default {DEFAULT_PORT})"
    )
    parser.add_argument(
        "--address",
        default="127.0.0.1",
        help="address to listen on (default 127.0.0.1: only this machine can open the dashboard)",
    )
    parser.add_argument(
        "--without-sign-in",
        action="store_true",
        help="listen on a network although nobody signs in: whoever reaches the address can read the whole"
        " ledger and its prices, log and change visits, decide the plan and load folders, under any name",
    )
    parser.add_argument("--browser", action="store_true", help="open the browser")


def run(args: argparse.Namespace) -> int:
    """Serve the ledger until interrupted."""
    return serve(
        args.ledger,
        port=args.port,
        address=args.address,
        open_browser=args.browser,
        without_sign_in=args.without_sign_in,
    )


def serve(
    ledger: Path,
    *,
    port: int = DEFAULT_PORT,
    address: str = "127.0.0.1",
    open_browser: bool = False,
    without_sign_in: bool = False,
) -> int:
    """Start the dashboard, print its address once it answers, and wait for its end.

    Returns the exit status: 0 when it was stopped. Raises PumpledgerError when it does not come up.
    """
    from dashboard.serving.configuration import PUBLIC_URL, read_server_settings
    from dashboard.serving.provider import refuse_unready_sign_in
    from dashboard.serving.serving import streamlit_arguments
    from dashboard.serving.supervisor import Supervisor
    from ingest.loopback import is_loopback

    settings = read_server_settings()
    refuse_unready_sign_in(settings)
    refuse_no_ledger(ledger)
    if not is_loopback(address):
        refuse_open_door(address, signed_in=settings.sign_in, without_sign_in=without_sign_in)
        if not settings.public_url:
            raise PumpledgerError(
                "public-url-needed",
                f"Listening on {address} needs the address that people type: set {PUBLIC_URL}, for example "
                f"to http://{socket.gethostname()}:{port}.",
            )
    free = free_port(address, port)
    if free != port:
        tell(f"Port {port} is in use by another program; serving on port {free}.", aside=True)
    command = streamlit_arguments(address=address, port=free, open_browser=open_browser)
    environment = os.environ | {"PUMPLEDGER": str(ledger.resolve())}
    server = Supervisor(lambda: subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL))
    stop_on_signal(server)
    try:
        host = "127.0.0.1" if address in ("0.0.0.0", "::", "localhost") else address
        wait_for_answer(
            server.process, f"http://{f'[{host}]' if ':' in host else host}:{free}", START_WITHIN_S
        )
        tell(
            f"The dashboard is at http://{f'[{host}]' if ':' in host else host}:{free}  (stop: Ctrl+C)",
        )
        return server.run()
    except KeyboardInterrupt:
        return 0
    finally:
        server.stop()


def refuse_no_ledger(ledger: Path) -> None:
    """Raise LedgerError where pages could show nothing but that there is no ledger to be had here."""
    from ingest.errors import LedgerError
    from ingest.ledger.connection import open_ledger

    if not ledger.exists() and not ledger.parent.is_dir():
        raise LedgerError("no-folder", f"There is no folder {ledger.parent} for the ledger; create it first.")
    if ledger.exists():
        try:
            with open_ledger(ledger):
                pass
        except LedgerError as error:
            if error.code != "ledger-busy":
                raise


def refuse_open_door(address: str, *, signed_in: bool, without_sign_in: bool) -> None:
    """Raise PumpledgerError where a network could come in, nobody signs in and nobody said that is meant."""
    if signed_in:
        return
    if not without_sign_in:
        raise PumpledgerError(
            "sign-in-needed",
            f"Listening on {address} would let anybody on that network in: set up sign-in (docs/pages.md), or"
            " say --without-sign-in, by which whoever reaches it may read, change and decide everything.",
        )
    tell(
        f"Listening on {address} without sign-in: whoever reaches it may read, change and decide everything.",
        aside=True,
    )


def free_port(address: str, wanted: int) -> int:
    """Return `wanted` if nothing listens there, else the next free port of the following hundred.

    Raises PumpledgerError where none is free, or the address is not one this machine can listen on.
    """
    for port in range(wanted, min(wanted + 100, 65536)):
        try:
            family = socket.AF_INET6 if ":" in address else socket.AF_INET
            with socket.socket(family, socket.SOCK_STREAM) as probe:
                probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
                probe.bind((address, port))
                return port
        except socket.gaierror as error:
            raise PumpledgerError(
                "bad-address",
                f"--address {address} is not an address of this machine; leave it out for 127.0.0.1.",
            ) from error
        except OSError as error:
            if error.errno in _NOT_OURS:
                raise PumpledgerError(
                    "bad-address",
                    f"Can't listen on {address}, port {port} ({error.strerror}); leave --address out, "
                    "or choose a port above 1023.",
                ) from error
    raise PumpledgerError(
        "no-port", f"Ports {wanted} to {wanted + 99} are all in use; give another one with --port."
    )


_NOT_OURS = (13, 99)  # permission denied; cannot assign requested address


def wait_for_answer(process: subprocess.Popen[bytes], address: str, within_s: float) -> None:
    """Return when the dashboard answers; raise PumpledgerError when it ended or stayed silent."""
    deadline = time.monotonic() + within_s
    # A proxy of the machine must not come between us and our own loopback.
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise PumpledgerError(
                "dashboard-ended",
                f"The dashboard ended at once (status {process.returncode}); its message is above.",
            )
        try:
            with opener.open(f"{address}/_stcore/health", timeout=2) as answer:
                if answer.status == 200:
                    return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise PumpledgerError(
        "dashboard-silent", f"The dashboard did not answer at {address} within {within_s:.0f} s."
    )


def stop_on_signal(server: Supervisor) -> None:
    """Pass a polite kill on to the dashboard, so that no server outlives its command."""

    def stop(_number: int, _frame: object) -> None:
        server.ask_to_stop()

    if hasattr(signal, "SIGTERM"):
        signal.signal(signal.SIGTERM, stop)


def _port(text: str) -> int:
    try:
        port = int(text)
    except ValueError:
        port = 0
    if not 1 <= port <= 65535:
        raise argparse.ArgumentTypeError(f"'{text}' is not a port number (1 to 65535)")
    return port
