"""Imports run one way: dashboard -> analytics -> ingest; demo_fleet -> ingest only."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MAY_IMPORT = {
    "ingest": {"ingest"},
    "analytics": {"analytics", "ingest"},
    "demo_fleet": {"demo_fleet", "ingest"},
    "dashboard": {"dashboard", "analytics", "ingest"},
}


def imported_roots(path: Path) -> set[str]:
    roots = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            roots |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            roots.add(node.module.split(".")[0])
    return roots


@pytest.mark.parametrize("package", sorted(MAY_IMPORT))
def test_package_imports_only_what_lies_below_it(package):
    for path in sorted((ROOT / package).rglob("*.py")):
        allowed = set(MAY_IMPORT[package])
        if path.relative_to(ROOT).as_posix() in {"dashboard/cli.py", "dashboard/commands/demo.py"}:
            allowed.add("demo_fleet")
        ours = imported_roots(path) & set(MAY_IMPORT)
        assert ours <= allowed, f"{path.relative_to(ROOT)} imports {sorted(ours - allowed)}"


@pytest.mark.parametrize("package", ["ingest", "analytics", "demo_fleet"])
def test_streamlit_stays_under_dashboard(package):
    for path in sorted((ROOT / package).rglob("*.py")):
        assert "streamlit" not in imported_roots(path), path
