"""How many small faults put into a room its own tests find.

    uv run --with cosmic-ray python -m tests.benchmarks.mutants money --count 150 --seed 1 [--out FILE]

Faults are drawn from all that cosmic-ray's operators can make of the room's modules: first a kind of
operator, then one of its places, so that the commonest kind doesn't crowd out the rest. What changes
annotations alone is none, nor a sum made a shift of bits, which any run finds. Each goes into a copy of the
project, where the room's tests run until one fails or three times their own time has passed. Printed: how
many were found, with Wilson's interval of 95 %, and each that was not as a line of difference, for a person
to sort into equivalent, harmless and hole.
"""

from __future__ import annotations

import argparse
import ast
import difflib
import json
import os
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from cosmic_ray import plugins
from cosmic_ray.ast import get_ast
from cosmic_ray.mutating import mutate_code
from scipy.stats import binomtest

ROOT = Path(__file__).parents[2]
_CHECKS = "tests/checks/test_"
# By room: where its modules and its tests are.
ROOMS = {
    "measuring": ("ingest/measuring", ("tests/measuring", "tests/golden")),
    "judging": ("analytics/judging", ("tests/judging",)),
    "wear_model": ("analytics/wear_model", ("tests/wear_model", _CHECKS + "onset_reference.py")),
    "risk": ("analytics/risk", ("tests/risk",)),
    "money": ("analytics/money", ("tests/money", _CHECKS + "decision_references.py")),
    "scheduling": ("analytics/scheduling", ("tests/scheduling", _CHECKS + "assignment_references.py")),
}  # fmt: skip
TIMES = 3.0  # of the tests' own time, after which a fault counts as found
LEAST_S = 30.0
BITS = {"RShift", "LShift", "BitOr", "BitAnd", "BitXor"}


class _Bare(ast.NodeTransformer):
    """Takes annotations and docstrings out of a module."""

    def visit_arg(self, node: ast.arg) -> ast.arg:
        node.annotation = None
        return node

    def visit_FunctionDef(self, node: ast.FunctionDef) -> ast.FunctionDef:
        self.generic_visit(node)
        node.returns = None
        return node

    def visit_AnnAssign(self, node: ast.AnnAssign) -> ast.AnnAssign:
        self.generic_visit(node)
        node.annotation = ast.Constant(None)
        return node

    def visit_Expr(self, node: ast.Expr) -> ast.Expr:
        return ast.Expr(ast.Constant(None)) if isinstance(node.value, ast.Constant) else node


def bare(code: str) -> str:
    """Return a module's meaning without what no run sees."""
    return ast.dump(_Bare().visit(ast.parse(code)))


def places(room: Path) -> dict[str, list[tuple[Path, str, int]]]:
    """Return by kind of operator every module, operator and place that one could be put."""
    out: dict[str, list[tuple[Path, str, int]]] = defaultdict(list)
    for path in sorted(room.glob("*.py")):
        code = path.read_text(encoding="utf-8")
        tree = get_ast(code)
        for name in sorted(plugins.operator_names()):
            operator = plugins.get_operator(name)
            if operator.arguments() or (
                BITS & {*name.split("_")[-1:]} and not BITS & {*name.split("_")[-2:-1]}
            ):
                continue
            count = sum(len(list(operator().mutation_positions(node))) for node in _nodes(tree))
            kind = name.split("/")[1].split("_")[0]
            out[kind] += [(path, name, at) for at in range(count)]
    return {kind: found for kind, found in out.items() if found}


def _nodes(tree: Any) -> Iterator[Any]:
    yield tree
    for child in getattr(tree, "children", ()):
        yield from _nodes(child)


def draw(room: Path, count: int, seed: int) -> list[tuple[Path, str, int, str]]:
    """Return `count` faults: module, operator, place, and the module's text with it."""
    left = {kind: list(found) for kind, found in places(room).items()}
    rng, seen = random.Random(seed), set()
    out: list[tuple[Path, str, int, str]] = []
    while left and len(out) < count:
        kind = rng.choice(sorted(left))
        path, name, at = left[kind].pop(rng.randrange(len(left[kind])))
        if not left[kind]:
            del left[kind]
        code = path.read_text(encoding="utf-8")
        made = mutate_code(code, plugins.get_operator(name)(), at)
        try:
            if made is None or (path, made) in seen or bare(made) == bare(code):
                continue
        except SyntaxError:
            continue
        seen.add((path, made))
        out.append((path, name, at, made))
    return out


def run(copy: Path, tests: tuple[str, ...], limit_s: float) -> tuple[bool, float]:
    """Return whether the tests pass in the copy, and how long they took."""
    began = time.monotonic()
    command = [sys.executable, "-m", "pytest", "-x", "-q", "-n", "0", "-p", "no:cacheprovider", *tests]
    environment = os.environ | {
        "PYTHONPATH": str(copy),
        "PYTHONDONTWRITEBYTECODE": "1",
        "PYTHONHASHSEED": "0",
    }
    try:
        done = subprocess.run(
            command, cwd=copy, env=environment, capture_output=True, timeout=limit_s, check=False
        )
        passed = done.returncode == 0
    except subprocess.TimeoutExpired:
        passed = False
    return passed, time.monotonic() - began


def main() -> None:
    """Put faults into one room and print what its tests find."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("room", choices=ROOMS)
    parser.add_argument("--count", type=int, default=150)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--out", type=Path, help="keep each fault and its fate here, and go on from it")
    options = parser.parse_args()
    modules, tests = ROOMS[options.room]
    faults = draw(ROOT / modules, options.count, options.seed)
    told = (
        [json.loads(line) for line in options.out.read_text().splitlines()]
        if options.out and options.out.exists()
        else []
    )
    with tempfile.TemporaryDirectory() as scratch:
        copy = Path(scratch) / "project"
        ignored = shutil.ignore_patterns(".git", ".venv", "*_cache", "__pycache__")
        shutil.copytree(ROOT, copy, ignore=ignored)
        passed, own_s = run(copy, tests, 3600.0)
        if not passed:
            sys.exit("The room's tests fail without any fault.")
        for path, name, at, made in faults[len(told) :]:
            inside = copy / path.relative_to(ROOT)
            was = inside.read_text(encoding="utf-8")
            inside.write_text(made, encoding="utf-8")
            survived, _ = run(copy, tests, max(LEAST_S, TIMES * own_s))
            inside.write_text(was, encoding="utf-8")
            told.append(
                {
                    "module": path.name,
                    "operator": name,
                    "place": at,
                    "killed": not survived,
                    "lines": _changed(was, made),
                }
            )
            if options.out:
                options.out.write_text("".join(json.dumps(each) + "\n" for each in told))
    report(options.room, told)


def _changed(was: str, made: str) -> list[str]:
    lines = difflib.unified_diff(was.splitlines(), made.splitlines(), lineterm="", n=0)
    return [line for line in lines if not line.startswith(("---", "+++"))]


def report(room: str, told: list[dict]) -> None:
    """Print the share found and what was not."""
    killed = sum(each["killed"] for each in told)
    low, high = binomtest(killed, len(told)).proportion_ci(method="wilson")
    print(f"{room}: {killed} of {len(told)} found, {killed / len(told):.2f} ({low:.2f} to {high:.2f})")
    for each in told:
        if not each["killed"]:
            print(f"{each['module']} {each['operator']}", *each["lines"], sep="\n    ")


if __name__ == "__main__":
    main()
