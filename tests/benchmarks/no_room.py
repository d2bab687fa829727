"""Every command that writes and every save of a page without room or leave: a sentence, nothing half done?

    python -m tests.benchmarks.no_room [--seconds 800] [--only JOB …]    (as root: it mounts disks of its own)

A disk with a fixed size is filled until so many bytes are left; then each job of `crash_commands` is done on
it. Afterwards the filling is taken away: the ledger must open, each table hold its rows from before or from
after, a job in one transaction all of one kind, a job said to be done its rows from after, `check` find
nothing, and the same job must go through. Then each job is tried by another user who may only read, and by
anybody on a disk mounted to be read: no file may change. What is said must be a sentence each time.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ingest.errors import PumpledgerError
from ingest.ledger.upkeep import check_ledger
from tests.benchmarks.crash_commands import CONTEXT, JOBS, Rows, rows, started, work, wrong_with

LEFT_BYTES = (0, 8_192, 65_536, 400_000, 1_500_000, 4_000_000)
DISK_MB = 64
OTHER_USER = (  # reads like root, so that the program is found wherever it lies; writes like a stranger
    "setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "--inh-caps=-all,+dac_read_search",
    "--ambient-caps=-all,+dac_read_search", "--bounding-set=-all,+dac_read_search",
)  # fmt: skip


def tell(name: str, folder: Path, out: Path) -> None:
    """Do a job and write down how it ended."""
    try:
        work(name, folder)
        said = "done"
    except PumpledgerError as error:
        said = f"refused {error.code}: {error.text}"
    except RuntimeError as error:  # a command's code other than 0, with what it said
        said = f"refused {error}" if type(error) is RuntimeError else f"NO SENTENCE {error!r}"
    except BaseException as error:
        said = f"NO SENTENCE {type(error).__name__}: {error}"
    if "Traceback" in said or said.endswith(": "):
        said = f"NO SENTENCE {said}"
    out.write_text(said, encoding="utf-8")


@contextmanager
def disk(at: Path) -> Iterator[Path]:
    """Mount a disk of DISK_MB at a folder."""
    at.mkdir()
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={DISK_MB}m", "tmpfs", at], check=True)
    try:
        yield at
    finally:
        subprocess.run(["umount", "-l", at], check=True)


def fill(place: Path, left: int) -> Path:
    """Fill a disk but for so many bytes, to the page."""
    filling = place / "filling"
    free = os.statvfs(place)
    with filling.open("wb") as file:
        os.posix_fallocate(file.fileno(), 0, max(free.f_bavail * free.f_frsize - left, 1))
    return filling


def done(name: str, folder: Path, out: Path) -> str:
    """Do a job in a process of its own; returns how it ended."""
    out.unlink(missing_ok=True)
    child = CONTEXT.Process(target=tell, args=(name, folder, out))
    child.start()
    child.join(120)
    if child.is_alive():
        child.kill()
        child.join()
        return "NO SENTENCE: no end"
    return out.read_text(encoding="utf-8") if out.exists() else f"NO SENTENCE: ended with {child.exitcode}"


def on_a_full_disk(
    name: str, start: Path, place: Path, left: int, before: Rows, after: Rows
) -> tuple[str, list[str]]:
    """Try one job with so much room; returns how it ended and what was wrong."""
    with disk(place) as mounted:
        folder = mounted / "here"
        shutil.copytree(start, folder)
        filling = fill(mounted, left)
        said = done(name, folder, place.with_name("said"))
        filling.unlink()
        wrong = wrong_with(JOBS[name], folder, before, after)
        if said == "done" and rows(folder / "fleet.duckdb") != after:
            wrong.append("said to be done, and it is not")
        if said.startswith("NO SENTENCE"):
            wrong.append(said)
        again = done(name, folder, place.with_name("said"))
        if said != "done" and again != "done" and (JOBS[name].whole or "Traceback" in again):
            wrong.append(f"again: {again}")
        wrong += [
            f"again: {f.text}" for f in check_ledger(folder / "fleet.duckdb").findings if f.level == "problem"
        ]
    return said, wrong


def contents(folder: Path) -> dict[str, str]:
    """Return a hash of each file."""
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest()
        for p in sorted(folder.rglob("*"))
        if p.is_file() and not p.name.endswith(".gate")
    }


def where_only_to_read(name: str, start: Path, place: Path, *, mounted: bool) -> tuple[str, list[str]]:
    """Try one job as a user who may only read, or on a disk mounted so."""
    out = place.with_name("said")
    with disk(place) as at:
        folder = at / "here"
        shutil.copytree(start, folder)
        for path in (at, folder, *folder.rglob("*")):
            path.chmod(0o755 if path.is_dir() else 0o644)
        before = contents(folder)
        if mounted:
            subprocess.run(["mount", "-o", "remount,ro", at], check=True)
            said = done(name, folder, out)
        else:
            out.write_text("")
            out.chmod(0o666)
            command = [
                *OTHER_USER,
                sys.executable,
                "-m",
                "tests.benchmarks.no_room",
                "--tell",
                name,
                folder,
                out,
            ]
            run = subprocess.run(
                command, capture_output=True, text=True, timeout=120, env=os.environ | {"HOME": "/nowhere"}
            )
            said = out.read_text(encoding="utf-8") or f"NO SENTENCE {run.stderr[-300:]}"
        wrong = [said] if said.startswith("NO SENTENCE") else []
        if contents(folder) != before:
            wrong.append("files were changed")
    return said, wrong


def report() -> int:
    """Run and print; 1 where something was wrong."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=800)
    parser.add_argument("--only", nargs="*", default=list(JOBS))
    parser.add_argument("--tell", nargs=3, help=argparse.SUPPRESS)
    args = parser.parse_args()
    if args.tell:
        tell(args.tell[0], Path(args.tell[1]), Path(args.tell[2]))
        return 0
    until = time.monotonic() + args.seconds
    ways: Counter[str] = Counter()
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as there:
        Path(there).chmod(0o755)
        start = started(Path(there) / "start")
        before = rows(start / "fleet.duckdb")
        number = 0
        for name in args.only:
            whole = Path(there) / f"whole-{number}"
            shutil.copytree(start, whole)
            said = done(name, whole, Path(there) / "said")
            if said != "done":
                wrong.append(f"{name}, with room: {said}")
                continue
            after = rows(whole / "fleet.duckdb")
            shutil.rmtree(whole)
            tries = [(f"{left:,} bytes left", left) for left in LEFT_BYTES]
            for way, left in [*tries, ("another user", None), ("mounted to be read", None)]:
                if time.monotonic() > until:
                    ways["not tried"] += 1
                    continue
                number += 1
                place = Path(there) / f"disk-{number}"
                if left is None:
                    said, bad = where_only_to_read(name, start, place, mounted=way.startswith("mounted"))
                else:
                    said, bad = on_a_full_disk(name, start, place, left, before, after)
                ways[f"{'a full disk' if left is not None else way}: {said.split()[0]}"] += 1
                print(f"{name}, {way}: {said[:200]}", flush=True)
                for text in bad:
                    wrong.append(f"{name}, {way}: {text}")
                    print(f"  WRONG {text[:500]}", flush=True)
    print(f"{dict(sorted(ways.items()))}; wrong: {len(wrong)}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(report())
