"""The rooms of the house: who may import whom, and what the pure rooms may not touch."""

import ast
from pathlib import Path

import pytest

SRC = Path(__file__).parents[2] / "src" / "tilestudy"
FLOORS = [
    {"errors", "study"},
    {"colour"},
    {"design", "analysis", "trade", "tray"},
    {"store", "photo", "paper"},
    {"outcomes"},
    {"studio"},
    {"bench"},
    {"cli"},
    {"__main__"},
]
LEVEL = {room: level for level, rooms in enumerate(FLOORS) for room in rooms}
PURE = ("study", "colour", "design", "analysis", "tray")
IMPURE_MODULES = {"sqlite3", "sqlite_utils", "click", "typst", "random", "time", "os", "pathlib", "shutil", "tempfile"}
IMPURE_CALLS = {"open", "print", "input"}
MODULES = sorted(SRC.rglob("*.py"))


def room_of(path: Path) -> str:
    return path.relative_to(SRC).parts[0].removesuffix(".py")


def imports(tree: ast.AST) -> list[str]:
    found = []
    for node in ast.walk(tree):
        if isinstance(node, ast.ImportFrom) and node.module:
            found += [f"{node.module}.{alias.name}" for alias in node.names]
        elif isinstance(node, ast.Import):
            found += [alias.name for alias in node.names]
    return found


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(SRC)))
def test_a_room_imports_only_from_lower_floors(path: Path) -> None:
    """Data flows upwards only: a room sees the floors below it and its own modules."""
    room = room_of(path)
    if room == "__init__":
        return
    for name in imports(ast.parse(path.read_text(encoding="utf-8"))):
        parts = name.split(".")
        if parts[0] == "tilestudy" and len(parts) > 1 and parts[1] != room and parts[1] != "__version__":
            assert LEVEL[parts[1]] < LEVEL[room] or {room, parts[1]} == {"errors", "study"}, (
                f"{path.name} ({room}) imports {name}"
            )


@pytest.mark.parametrize(
    "path", [p for p in MODULES if room_of(p) in PURE], ids=lambda path: str(path.relative_to(SRC))
)
def test_a_pure_room_sees_no_file_clock_or_screen(path: Path) -> None:
    """Study, colour, design and analysis take randomness and time as arguments and touch nothing outside."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    for name in imports(tree):
        module = name.split(".")[0]
        # Random (a generator handed in) is fine, the module's own global state is not
        assert module not in IMPURE_MODULES or name == "random.Random", f"{path.name} imports {name}"
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            if isinstance(node.func, ast.Name):
                assert node.func.id not in IMPURE_CALLS, f"{path.name} calls {node.func.id}"
            if isinstance(node.func, ast.Attribute):
                assert node.func.attr not in {"now", "today", "utcnow"}, f"{path.name} reads the clock"


def test_every_module_says_what_it_is_for() -> None:
    """The first lines of every file are a docstring."""
    silent = [path.name for path in MODULES if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))]
    assert silent == []


def test_only_the_store_speaks_sql() -> None:
    """SQL lives in one room."""
    words = ("SELECT ", "INSERT INTO", "CREATE TABLE", "sqlite")
    speaking = {room_of(path) for path in MODULES if any(word in path.read_text(encoding="utf-8") for word in words)}
    assert speaking <= {"store"}
