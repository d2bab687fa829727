"""`pumpledger demo`: an invented fleet, built once, and the dashboard on it."""

from __future__ import annotations

import argparse
import os
import shutil
import sys
from datetime import date
from pathlib import Path

from dashboard.commands.serve import DEFAULT_PORT, _port, serve
from dashboard.words.terminal import tell
from ingest.errors import EntryRefused

EXAMPLE = "pumpledger demo"
LEDGER = "pumpledger.duckdb"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Add the command's arguments."""
    parser.add_argument(
        "--folder", type=Path, default=Path("demo"), help="where the demo lives (default: demo, here)"
    )
    parser.add_argument("--build-only", action="store_true", help="build, print the ledger's path and stop")
    parser.add_argument("--no-browser", action="store_true", help="serve, but don't open the browser")
    parser.add_argument("--port", type=_port, default=DEFAULT_PORT, help="port to serve on")


def run(args: argparse.Namespace) -> int:
    """Build the demo fleet unless it is there, then serve it."""
    ledger = args.folder / LEDGER
    if ledger.exists():
        tell(f"Using the demo fleet in {args.folder} (delete that folder to build it anew).")
    else:
        build(args.folder)
        tell(f"Built the demo fleet in {args.folder}: {args.folder / 'fleet'} is the fleet folder,")
        tell(f"{ledger} the ledger, {args.folder / 'fleet_truth'} what really happened.")
    if args.build_only:
        return 0
    return serve(ledger, port=args.port, open_browser=not args.no_browser and _has_screen())


def build(folder: Path) -> None:
    """Write the demo's fleet folder and load it; `folder` appears complete or not at all.

    Raises EntryRefused when something else is in the way.
    """
    from analytics.learning.fitting import fit
    from demo_fleet.scenario import TODAY, write_scenario
    from ingest.author import PROGRAM
    from ingest.fleet_folder.loading import load_folder

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise EntryRefused(
            "demo-folder-taken",
            f"{folder} exists and holds no complete demo; move it away or give another --folder.",
        )
    _clear_abandoned(folder)
    building = folder.with_name(f"{folder.name}.building-{os.getpid()}")
    try:
        building.mkdir(parents=True)
        with _bar("waveforms") as bar:
            write_scenario(building / "fleet", progress=bar.follow)
        with _bar("readings ") as bar:
            load_folder(
                building / LEDGER,
                building / "fleet",
                progress=lambda done, of, _name: bar.follow(done, of),
                today=max(TODAY, date.today()),
                author=PROGRAM,
            )
        fit(building / LEDGER)  # once here, so that every page finds it
        building.rename(folder)
    except OSError as error:
        if (folder / LEDGER).exists():
            return  # another demo was quicker
        raise EntryRefused("demo-not-built", f"The demo can't be built in {folder}: {error}.") from error
    finally:
        shutil.rmtree(building, ignore_errors=True)


class _Bar:
    """A progress bar that learns its length from the first report."""

    def __init__(self, what: str):
        from tqdm import tqdm

        self._bar = tqdm(desc=what, unit="", file=sys.stderr, dynamic_ncols=True, leave=True)

    def follow(self, done: int, of: int) -> None:
        self._bar.total = of
        self._bar.update(done - self._bar.n)

    def __enter__(self) -> _Bar:
        return self

    def __exit__(self, *_: object) -> None:
        self._bar.close()


def _bar(what: str) -> _Bar:
    return _Bar(what)


def _clear_abandoned(folder: Path) -> None:
    """Remove what a killed build of this folder left behind."""
    for left in folder.parent.glob(f"{folder.name}.building-*"):
        number = left.name.rpartition("-")[2]
        if number.isdigit() and not _is_running(int(number)):
            shutil.rmtree(left, ignore_errors=True)


def _is_running(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _has_screen() -> bool:
    """Return whether opening a browser can work here; over ssh or in a container it can't."""
    if sys.platform.startswith("linux"):
        return bool(os.environ.get("DISPLAY") or os.environ.get("WAYLAND_DISPLAY"))
    return True
