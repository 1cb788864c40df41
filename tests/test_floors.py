"""The house: a room imports only from rooms below it, no circle anywhere, heavy libraries stay where they belong."""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "kitvalue"
# From the ground up; rooms of one floor do not know each other.
FLOORS = (("intake",), ("market", "workshop"), ("decisions",), ("pages",), ("commands",), ("cli", "web"))
INTAKE = (("text",), ("settings",), ("tables",), ("books",), ("adverts", "arrival"))
AT_THE_TOP = {"__init__", "__main__"}
NO_CODE = {"jobs", "starter", "words"}  # folders of data
OWNERS = {
    "statsmodels": "market",
    "matplotlib": "pages/charts.py",
    "click": "cli",
    "fpdf": "pages/sheet",
}
PATHS = sorted(PACKAGE.rglob("*.py"))
MODULES = {".".join(("kitvalue", *path.relative_to(PACKAGE).with_suffix("").parts)): path for path in PATHS}


def imports(path: Path) -> set[str]:
    """Every module that a file imports, also inside functions and under TYPE_CHECKING."""
    found: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}: write imports from kitvalue. in full"
            found.add(node.module or "")
            found |= {f"{node.module}.{alias.name}" for alias in node.names}
    return found


def floor_of(name: str, floors: tuple[tuple[str, ...], ...]) -> int:
    return next(height for height, rooms in enumerate(floors) if name in rooms)


def test_every_folder_has_its_floor() -> None:
    rooms = {name for floor in FLOORS for name in floor}
    found = {path.name for path in PACKAGE.iterdir() if path.name != "__pycache__"}
    assert found <= rooms | {f"{name}.py" for name in AT_THE_TOP} | NO_CODE | {"py.typed"}
    inner = {path.name for path in (PACKAGE / "intake").iterdir() if path.name != "__pycache__"}
    assert inner <= {name for floor in INTAKE for name in floor} | NO_CODE | {"__init__.py"}


@pytest.mark.parametrize("path", PATHS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_down(path: Path) -> None:
    """To a floor below, or to one's own room; never up, never to the room beside."""
    here = path.relative_to(PACKAGE).with_suffix("").parts
    if here[0] in AT_THE_TOP:
        return
    for module in imports(path):
        there = module.split(".")[1:] if module.startswith("kitvalue.") else []
        if not there or there[0] == "__version__":
            continue
        for level, floors in ((0, FLOORS), (1, INTAKE)):
            if level and not (here[0] == there[0] == "intake" and len(here) > 2 and len(there) > 1):
                break
            if here[level] != there[level]:
                mine, theirs = floor_of(here[level], floors), floor_of(there[level], floors)
                assert theirs < mine, f"{path} imports {module}"


def test_no_circles() -> None:
    """Counting every import, also those inside functions and under TYPE_CHECKING."""
    graph = {name: {module for module in imports(path) if module in MODULES} - {name} for name, path in MODULES.items()}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as circle:
        pytest.fail(f"modules import each other: {' <- '.join(circle.args[1])}")


@pytest.mark.parametrize("library", OWNERS)
def test_libraries_stay_in_their_room(library: str) -> None:
    owner = OWNERS[library]
    for path in PATHS:
        if library in {m.split(".")[0] for m in imports(path)}:
            where = path.relative_to(PACKAGE).as_posix()
            assert where.startswith(owner), f"{where} imports {library}"


@pytest.mark.parametrize("path", PATHS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_below_the_commands_prints_reads_the_clock_or_writes(path: Path) -> None:
    if path.relative_to(PACKAGE).parts[0] in {"commands", "cli", "web", *(f"{name}.py" for name in AT_THE_TOP)}:
        return
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            name = ast.unparse(node.func)
            assert name != "print", f"{path} prints"
            assert not name.endswith((".today", ".now", ".write_text", ".write_bytes")), f"{path}: {name}"
            if name == "open" and len(node.args) > 1:
                assert "w" not in ast.unparse(node.args[1]), f"{path} writes"


@pytest.mark.parametrize("path", PATHS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_files_and_functions_stay_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 550, f"{path} is too long"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            length = (node.end_lineno or 0) - node.lineno
            assert length <= 70, f"{path}: {node.name} has {length} lines"
