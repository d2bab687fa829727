"""Imports run one way: between the layers, between a layer's rooms, and never in a circle of rooms."""

import ast
import pkgutil
from collections.abc import Iterator
from graphlib import CycleError, TopologicalSorter
from importlib import import_module
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
MAY_IMPORT = {
    "ingest": {"ingest"},
    "analytics": {"analytics", "ingest"},
    "demo_fleet": {"demo_fleet", "ingest"},
    "dashboard": {"dashboard", "analytics", "ingest"},
}
DEMO_BUILDERS = {"dashboard/cli.py", "dashboard/commands/demo.py"}

# A room may import only rooms on floors written above its own; "" is the ground, the modules in no folder.
FLOORS: dict[str, tuple[tuple[str, ...], ...]] = {
    "ingest": (
        ("apart",),
        ("",),
        ("wording",),
        ("readers", "measuring", "ledger"),
        ("checking", "chains"),
        ("visit", "fleet_folder"),
        ("intake",),
    ),
    "analytics": (
        ("",),
        ("past",),
        ("judging", "wear_model", "trend"),
        ("money",),
        ("learning",),
        ("risk",),
        ("scheduling", "cost_review", "record"),
    ),
    "dashboard": (
        ("",),
        ("words", "data", "serving"),
        ("shell",),
        ("charts",),
        ("parts",),
        ("views", "commands"),
    ),
}
# The two doors of the dashboard stand on its ground and open into every room.
DOORS = {"dashboard.app", "dashboard.cli"}


def imported(path: Path) -> Iterator[str]:
    """Yield the full names of the modules that a file imports, wherever in the file it does."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module and node.level == 0:
            for alias in node.names:
                inner = f"{node.module}.{alias.name}"
                yield inner if is_module(inner) else node.module


def is_module(name: str) -> bool:
    path = ROOT / name.replace(".", "/")
    return path.with_suffix(".py").exists() or (path / "__init__.py").exists()


def module_name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts)


def room_of(module: str) -> str:
    """Return the room of a module, "" for one on the ground; a page's folder belongs to the room views."""
    parts = module.split(".")
    inside = (ROOT / parts[0] / parts[1]).is_dir() if len(parts) > 1 else False
    return parts[1] if inside else ""


def modules_of(package: str) -> list[Path]:
    return sorted(p for p in (ROOT / package).rglob("*.py") if p.name != "__init__.py")


@pytest.mark.parametrize("package", sorted(MAY_IMPORT))
def test_package_imports_only_what_lies_below_it(package):
    for path in sorted((ROOT / package).rglob("*.py")):
        allowed = set(MAY_IMPORT[package])
        if path.relative_to(ROOT).as_posix() in DEMO_BUILDERS:
            allowed.add("demo_fleet")
        ours = {name.split(".")[0] for name in imported(path)} & set(MAY_IMPORT)
        assert ours <= allowed, f"{path.relative_to(ROOT)} imports {sorted(ours - allowed)}"


@pytest.mark.parametrize("package", ["ingest", "analytics", "demo_fleet"])
def test_streamlit_stays_under_dashboard(package):
    for path in sorted((ROOT / package).rglob("*.py")):
        assert "streamlit" not in {name.split(".")[0] for name in imported(path)}, path


@pytest.mark.parametrize("package", sorted(MAY_IMPORT))
def test_nobody_writes_the_environment_once_threads_may_run(package):
    """The client library of a server reads it without a lock at each opening; ingest/__init__ is before."""
    names = {"environ": ("setdefault", "update", "pop", "popitem", "clear"), "os": ("putenv", "unsetenv")}
    wrong = []
    for path in sorted((ROOT / package).rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            said = ast.unparse(node) if isinstance(node, ast.Attribute | ast.Subscript) else ""
            written = isinstance(node, ast.Subscript) and not isinstance(node.ctx, ast.Load)
            if (written and said.partition("[")[0].endswith("environ")) or any(
                said.endswith(f"{name}.{how}") for name, ways in names.items() for how in ways
            ):
                wrong.append(f"{path.relative_to(ROOT)}:{node.lineno}")
    assert [at for at in wrong if not at.startswith("ingest/__init__.py:")] == []
    assert wrong or package != "ingest"  # the search finds what it looks for


@pytest.mark.parametrize("package", sorted(FLOORS))
def test_every_folder_of_code_is_a_room_of_the_plan(package):
    rooms = {room_of(module_name(path)) for path in modules_of(package)}
    assert rooms == {room for floor in FLOORS[package] for room in floor}


@pytest.mark.parametrize("package", sorted(FLOORS))
def test_a_room_imports_only_rooms_below_it(package):
    floor_of = {room: number for number, floor in enumerate(FLOORS[package]) for room in floor}
    wrong = []
    for path in modules_of(package):
        module = module_name(path)
        for name in imported(path):
            if name.split(".")[0] != package or "." not in name or module in DOORS:
                continue
            room, other = room_of(module), room_of(name)
            if room != other and floor_of[other] >= floor_of[room]:
                wrong.append(f"{module} imports {name}")
    assert not wrong


@pytest.mark.parametrize("package", sorted(MAY_IMPORT))
def test_no_circle_between_modules_nor_folders(package):
    modules: dict[str, set[str]] = {}
    folders: dict[str, set[str]] = {}
    for path in modules_of(package):
        module = module_name(path)
        found = {n for n in imported(path) if n.split(".")[0] == package and n != module and n != package}
        modules[module] = found
        if module in DOORS:
            continue
        folder = module.rpartition(".")[0]
        others = {n if (ROOT / n.replace(".", "/")).is_dir() else n.rpartition(".")[0] for n in found}
        folders.setdefault(folder, set()).update(others - {folder})
    for graph in (modules, folders):
        try:
            TopologicalSorter(graph).prepare()
        except CycleError as circle:
            pytest.fail(f"a circle of imports: {' -> '.join(circle.args[1])}")


@pytest.mark.parametrize(
    ("package", "names"),
    [("ingest", ("read_capture", "measure", "open_ledger")), ("analytics", ("fit", "rank", "plan"))],
)
def test_public_functions_stay_callable_once_every_module_is_imported(package, names):
    top = import_module(package)
    for found in pkgutil.walk_packages(top.__path__, f"{package}."):
        import_module(found.name)
    for name in names:
        assert callable(getattr(top, name)), f"{package}.{name} is hidden by a module of that name"


def test_every_folder_says_what_comes_in_and_what_goes_out():
    for package in MAY_IMPORT:
        for path in (ROOT / package).rglob("*.py"):
            door = path.parent / "__init__.py"
            assert ast.get_docstring(ast.parse(door.read_text(encoding="utf-8"))), door.relative_to(ROOT)
