"""Run the benchmarks of everyday work, all or those named, into one results file, and write docs/speed.md
and the table of sizes in docs/outgrowing_one_machine.md.

python -m tests.benchmarks                  # all: some minutes, best on a quiet machine
python -m tests.benchmarks read measure     # these two; the other results stay
python -m tests.benchmarks --list           # what there is, older methods marked; runs nothing
"""

from __future__ import annotations

import argparse
import sys
import time

import ingest  # noqa: F401  (holds linear algebra to one thread before numpy comes in)
from tests.benchmarks.on_paper import write_sizes
from tests.benchmarks.results import OLDER, PAGE, is_older, keep_results, method_versions, page, read_results
from tests.benchmarks.speeds import ALL


def main(arguments: list[str] | None = None) -> int:
    """Run what is asked for; 1 where one of them failed, the results of the others kept."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks", description="Speeds of everyday work, into one results file."
    )
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"of {', '.join(ALL)}; default: all")
    parser.add_argument("--list", action="store_true", help="show the results there are, run nothing")
    args = parser.parse_args(arguments)
    if strange := [name for name in args.names if name not in ALL]:
        parser.error(f"there is no benchmark {strange[0]}; there are {', '.join(ALL)}")
    failed = False
    for name in [] if args.list else args.names or ALL:
        job, method = ALL[name]
        began = time.perf_counter()
        try:
            keep_results(job(), f"tests.benchmarks {name}", method)
        except Exception as error:
            print(f"{name}: {type(error).__name__}: {error}", file=sys.stderr)
            failed = True
            continue
        print(f"{name}: {time.perf_counter() - began:.0f} s", file=sys.stderr, flush=True)
    results, today = read_results(), method_versions()
    for r in results.values():
        mark = OLDER if is_older(r, today) else ""
        print(f"{r.name:22} {r.value:10,g} {r.unit:7} {r.about}; {r.date} {r.commit}{mark}")
    PAGE.write_text(page(results, today), encoding="utf-8")
    write_sizes(results)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
