"""The house: a room imports only from rooms before it, and heavy libraries stay where they belong."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parent.parent / "kitvalue"
ROOMS = ("intake", "market", "workshop", "decisions", "pages")
TOP = (
    "files", "laidout", "keeper", "jotting", "checking", "arriving", "offered", "asked", "plans", "shortlisting",
    "asking_price", "portfolios", "buying", "finished", "usecases", "printing", "cli_options", "cli_answers",
    "cli_program", "cli_new", "cli_value", "cli_build", "cli_buying", "cli_pages", "cli",
)  # fmt: skip
OWNERS = {
    "statsmodels": "market",
    "matplotlib": "pages/charts.py",
    "click": "cli",
    "babel": "pages/sheet",
    "fpdf": "pages/sheet",
}
PATHS = sorted(PACKAGE.rglob("*.py"))


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


def place(path: Path) -> str:
    """The room of a file, or its own name at the top of the house."""
    parts = path.relative_to(PACKAGE).with_suffix("").parts
    return parts[0]


def floor(name: str) -> int:
    return ROOMS.index(name) if name in ROOMS else len(ROOMS) + TOP.index(name)


@pytest.mark.parametrize("path", PATHS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_imports_go_one_way(path: Path) -> None:
    here = place(path)
    if here in ("__init__", "__main__", "bench"):
        return
    for module in imports(path):
        parts = module.split(".")
        if parts[0] == "kitvalue" and len(parts) > 1 and parts[1] in (*ROOMS, *TOP):
            assert floor(parts[1]) <= floor(here), f"{path} imports {module}"


@pytest.mark.parametrize("library", OWNERS)
def test_libraries_stay_in_their_room(library: str) -> None:
    owner = OWNERS[library]
    for path in PATHS:
        if library in {m.split(".")[0] for m in imports(path)}:
            where = path.relative_to(PACKAGE).as_posix()
            assert where.startswith(owner), f"{where} imports {library}"


@pytest.mark.parametrize("path", PATHS, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_nothing_below_the_use_cases_prints_reads_the_clock_or_writes(path: Path) -> None:
    if place(path) not in ROOMS:
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
    assert len(text.splitlines()) <= 300, f"{path} is too long"
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            length = (node.end_lineno or 0) - node.lineno
            assert length <= 60, f"{path}: {node.name} has {length} lines"
