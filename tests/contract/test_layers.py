"""Imports only ever point to a room with a smaller number."""

from __future__ import annotations

import ast
from collections.abc import Iterator

import pytest

from tests.contract.house import PACKAGE, ROOMS, dotted, modules, short, tree_of


def imported_names(tree: ast.Module, module: str, *, is_package: bool) -> Iterator[tuple[int, str]]:
    """Yield (line, full name) for each import anywhere in a module, also inside functions."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = node.module or ""
            if node.level:
                parts = module.split(".")
                up = node.level - 1 if is_package else node.level
                anchor = parts[: len(parts) - up]
                base = ".".join([*anchor, base] if base else anchor)
            yield from ((node.lineno, f"{base}.{alias.name}") for alias in node.names)
        elif isinstance(node, ast.Call) and node.args:
            called = node.func.attr if isinstance(node.func, ast.Attribute) else ""
            called = node.func.id if isinstance(node.func, ast.Name) else called
            first = node.args[0]
            if called in {"import_module", "__import__"} and isinstance(first, ast.Constant):
                yield node.lineno, str(first.value)


def room_of(name: str) -> str | None:
    """Return the room a full name of the package lies in; None for the package itself."""
    parts = name.split(".")
    return parts[1] if len(parts) > 1 else None


def wrong_arrows(source: str, module: str, *, is_package: bool = False) -> list[str]:
    """Return a sentence for every import of a module that points the wrong way."""
    own = room_of(module)
    wrong = []
    for line, name in imported_names(ast.parse(source), module, is_package=is_package):
        if name.split(".")[0] != "ringout":
            continue
        other = room_of(name)
        # The package itself holds its version only, which every room may read.
        if other is None or other.startswith("__") or other == own:
            continue
        if own == "__main__":
            continue  # stands before every door
        if other not in ROOMS or own not in ROOMS:
            wrong.append(f"line {line}: {module} imports {name}: not a room of the house")
        elif ROOMS[other] >= ROOMS[own]:
            wrong.append(
                f"line {line}: {own} (room {ROOMS[own]}) imports {name} (room {ROOMS[other]}); "
                f"an import may only point to a smaller number"
            )
    return wrong


@pytest.mark.parametrize("path", modules(), ids=short)
def test_imports_point_to_smaller_numbers(path):
    source = path.read_text(encoding="utf-8")
    is_package = path.name == "__init__.py"
    wrong = wrong_arrows(source, dotted(path), is_package=is_package)
    assert not wrong, "\n".join([short(path), *wrong])


def test_every_folder_and_module_is_a_room():
    strangers = {
        path.stem
        for path in PACKAGE.iterdir()
        if (path.is_dir() and path.name != "__pycache__") or path.suffix == ".py"
    } - {*ROOMS, "__init__", "__main__"}
    assert not strangers, f"not in the list of rooms: {sorted(strangers)}"


@pytest.mark.parametrize(
    ("module", "source", "count"),
    [
        ("ringout.cell.model", "from ringout.base import Span", 0),
        ("ringout.cell.model", "from ringout.cell.part import Part", 0),
        ("ringout.cell.model", "from ringout import __version__", 0),
        ("ringout.cell.model", "import numpy", 0),
        ("ringout.cell.model", "import ringout.circuit.model", 1),
        ("ringout.cell.model", "from ringout import circuit, base", 1),
        ("ringout.cell.model", "from ..circuit import model", 1),
        ("ringout.cell.model", "from .part import Part", 0),
        ("ringout.cell.model", "def late():\n    from ringout.solve import solve", 1),
        ("ringout.cell.model", "if TYPE_CHECKING:\n    from ringout.run import prove", 1),
        ("ringout.cell.model", "importlib.import_module('ringout.report')", 1),
        ("ringout.find.rank", "from ringout.checkout import plan", 1),
        ("ringout.run", "from ringout.report import render", 0),
        ("ringout.report.text", "from ringout.run import prove", 1),
        ("ringout.attic.box", "from ringout.base import Span", 1),
    ],
)
def test_the_check_itself_sees_wrong_arrows(module, source, count):
    assert len(wrong_arrows(source, module)) == count


def test_relative_import_in_a_package_file():
    assert not wrong_arrows("from .model import Cell", "ringout.cell", is_package=True)
    assert wrong_arrows("from ..solve import solve", "ringout.cell", is_package=True)


# Loaded only inside the functions that need them, so that `prove` starts at once.
HEAVY = {
    "pint", "scipy", "openpyxl", "xlsxwriter", "numba", "highspy", "rich", "pandas", "sqlalchemy",
    "typst", "segno", "fastapi", "jinja2", "pymodbus", "asyncua", "alembic", "psycopg",
}  # fmt: skip
# Modules that are nothing without their package, and that are themselves loaded only inside
# functions: the tables of the records and the steps that bring them up to date.
BEHIND_A_DOOR = ("ringout.records.schema", "ringout.records.migrations")


def behind_a_door(name: str) -> bool:
    """Return whether a module, or what it belongs to, is loaded inside functions only."""
    return any(name == door or name.startswith(f"{door}.") for door in BEHIND_A_DOOR)


@pytest.mark.parametrize("path", modules(), ids=short)
def test_heavy_packages_are_imported_inside_functions(path):
    if behind_a_door(dotted(path)):
        return

    def outside_functions(node: ast.AST) -> Iterator[ast.AST]:
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                continue  # read by the type checker only
            if not isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda):
                yield child
                yield from outside_functions(child)

    def heavy(name: str) -> bool:
        return name.split(".", maxsplit=1)[0] in HEAVY or behind_a_door(name)

    early = []
    for node in outside_functions(tree_of(path)):
        if isinstance(node, ast.Import):
            early += [(node.lineno, a.name) for a in node.names if heavy(a.name)]
        elif isinstance(node, ast.ImportFrom) and heavy(node.module or ""):
            early.append((node.lineno, node.module))
    assert not early, f"{short(path)}: move into the function that needs it: {early}"
