"""Write docs/validation.md: each check against an outside source with the value, ours and the difference.

    python -m tests.checks.validation

It runs the checks and keeps what each compares with `pytest.approx` or `numpy.testing.assert_allclose`. The
source and its mark stand in the docstring of the check's module, which is copied.
"""

from __future__ import annotations

import ast
import os
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest

CHECKS = Path(__file__).parent
OUTPUT = CHECKS.parents[1] / "docs" / "validation.md"
WITHOUT = {
    "order of the trade rules, and their limits": "common practice; the situations of tests/judging",
    "growth of a damage after its onset, what shifts a reading beside it": "simulated pumps and fleets",
    "what a check or a repair does to the forecast": "simulated fleets with known causes",
    "a group's multiplier, shrunken by its evidence": "simulated fleets with a known bad lot or depot",
    "what a check is worth to the decision": "simulated fleets, and a planner who knows their laws",
    "cost of a policy by simulation": "simulated fleets; where life is Weibull the closed form above",
}


@dataclass(frozen=True)
class Compared:
    """One comparison: the outside value, ours and what is allowed between them, of the worst element."""

    test: str
    value: float
    ours: float
    allowed: float
    of: int

    @property
    def used(self) -> float:
        """Return the difference as a share of what is allowed; 0 where both are nothing or not finite."""
        off = abs(self.ours - self.value)
        return off / self.allowed if self.allowed and np.isfinite(off) else 0.0


class Recorder:
    """A pytest plugin that keeps the comparisons of the running test."""

    def __init__(self) -> None:
        self.rows: list[Compared] = []
        self.test = ""
        self.failed = False

    def pytest_runtest_setup(self, item: pytest.Item) -> None:
        """Note which test runs."""
        self.test = item.nodeid

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Note whether any failed: a page of failures is not written."""
        self.failed |= report.failed

    def keep(self, value: Any, ours: Any, rel: float | None, absolute: float | None) -> None:
        """Keep the element that lies farthest off against what is allowed."""
        try:
            expected, actual = np.broadcast_arrays(np.asarray(value, float), np.asarray(ours, float))
        except (TypeError, ValueError):
            return
        if not expected.size:
            return
        allowed = np.maximum(np.abs(expected) * (rel or 0.0), absolute or 0.0)
        with np.errstate(invalid="ignore", divide="ignore"):
            off = np.nan_to_num(np.abs(actual - expected) / allowed, nan=0.0)
        k = np.unravel_index(int(np.argmax(off)), off.shape)
        self.rows.append(
            Compared(self.test, float(expected[k]), float(actual[k]), float(allowed[k]), expected.size)
        )


class Watched:
    """What `pytest.approx` returned, which tells the recorder of each comparison."""

    __array_ufunc__ = None  # so that an array on the left leaves the comparison to us
    __array_priority__ = 100

    def __init__(self, approx: Any, keep: Any) -> None:
        self.approx, self.keep = approx, keep

    def __eq__(self, other: object) -> bool:
        self.keep(other)
        return bool(self.approx == other)

    def __ne__(self, other: object) -> bool:
        return not self == other

    def __repr__(self) -> str:
        return repr(self.approx)

    __hash__ = None  # type: ignore[assignment]


def recorded() -> list[Compared]:
    """Run the checks and return what they compared. Raises SystemExit where one fails."""
    recorder = Recorder()
    approx, allclose = pytest.approx, np.testing.assert_allclose

    def watched(expected: Any, rel: Any = None, abs: Any = None, nan_ok: bool = False) -> Watched:
        plain = rel is None and abs is None
        return Watched(
            approx(expected, rel=rel, abs=abs, nan_ok=nan_ok),
            lambda other: recorder.keep(expected, other, 1e-6 if plain else rel, 1e-12 if plain else abs),
        )

    def watched_allclose(actual: Any, desired: Any, rtol: float = 1e-7, atol: float = 0, **rest: Any) -> None:
        recorder.keep(desired, actual, rtol, atol)
        allclose(actual, desired, rtol=rtol, atol=atol, **rest)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(pytest, "approx", watched)
        patch.setattr(np.testing, "assert_allclose", watched_allclose)
        pytest.main(["-q", "-n", "0", "-p", "no:cacheprovider", str(CHECKS)], plugins=[recorder])
    if recorder.failed:
        sys.exit("A check fails: nothing is written.")
    return recorder.rows


def modules() -> Iterator[tuple[str, str, list[str]]]:
    """Yield the file's name, its docstring and the names of its tests."""
    for path in sorted(CHECKS.glob("test_*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        names = [n.name for n in tree.body if isinstance(n, ast.FunctionDef) and n.name.startswith("test_")]
        yield path.name, ast.get_docstring(tree) or "", names


def words(test: str) -> str:
    """Return the name of a test's function as words."""
    return test.removeprefix("test_").replace("_", " ")


def row_of(test: str, rows: list[Compared]) -> str:
    """Return a test's line: the comparison that used most of what it was allowed."""
    worst = max(rows, key=lambda row: row.used)
    share = worst.allowed / max(abs(worst.value), worst.allowed, 1e-300)
    whole = int(np.log10(max(abs(worst.value), 1.0))) + 1
    digits = max(int(np.clip(2 - np.log10(max(share, 1e-12)), 2, 10)), whole)
    told = (
        f"{worst.value:.{digits}g} | {worst.ours:.{digits}g} | {worst.allowed:.1e} | {100 * worst.used:.0f} %"
    )
    return f"| {words(test)} | {sum(row.of for row in rows)} | {told} |"


def page(rows: list[Compared]) -> str:
    """Return the whole page."""
    lines = [
        "# Held against outside sources",
        "",
        "Written by `python -m tests.checks.validation`, which runs the checks; where one fails no page is "
        "written. A row is a check: how many values it compares, and of the one that came nearest to what is "
        "allowed the outside value, ours, and how much of it the difference used. Allowed is the printing of "
        "the source, or what two ways of computing may differ by, or what so many samples scatter. Values "
        "typed in from memory are said to be so beside their source.",
    ]
    by_test: dict[tuple[str, str], list[Compared]] = {}
    for row in rows:
        path, _, name = row.test.partition("::")
        by_test.setdefault((Path(path).name, name.partition("[")[0]), []).append(row)
    for file, docstring, names in modules():
        title, _, source = docstring.partition("\n\n")
        lines += ["", f"## {' '.join(title.split()).rstrip('.')}", ""]
        if source:
            lines += [source.strip(), ""]
        told = [name for name in names if (file, name) in by_test]
        if told:
            lines += ["| check | values | outside | ours | allowed | used |", "|---|--:|--:|--:|--:|--:|"]
            lines += [row_of(name, by_test[file, name]) for name in told] + [""]
        if rest := [words(name) for name in names if name not in told]:
            lines += ["Yes or no: " + "; ".join(rest) + "."]
    lines += [
        "",
        "## What has no outside value",
        "",
        "| what | what it is held against instead |",
        "|---|---|",
    ]
    lines += [f"| {what} | {instead} |" for what, instead in WITHOUT.items()]
    return re.sub(r"\n{3,}", "\n\n", "\n".join(lines)) + "\n"


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    OUTPUT.write_text(page(recorded()), encoding="utf-8")
