"""The part library: shipped parts by name, and the user's own beside the cell file."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from pathlib import Path

from ringout.base import Diagnostic, Span
from ringout.cell.part import Part
from ringout.cell.part_read import PartReader
from ringout.cellfile.read import parse_tree, read_tree
from ringout.cellfile.tree import Mapping as MappingNode
from ringout.cellfile.tree import Node, Scalar
from ringout.cellfile.tree import Sequence as SequenceNode

LIBRARY = Path(__file__).parent / "library"
USER_FOLDER = "parts"


@cache
def shipped_files() -> Mapping[str, Path]:
    """Return part name to file for every shipped part, by family and name."""
    return {p.stem: p for p in sorted(LIBRARY.glob("*/*.yaml"))}


def part_names(folder: str = "") -> list[str]:
    """Return the names of every part that can be used, user parts included."""
    mine = {p.stem for p in user_files(folder)}
    return sorted(mine | set(shipped_files()))


def user_files(folder: str) -> list[Path]:
    """Return the user's own part files; a link that leads out of the cell's folder is none."""
    own = Path(folder) / USER_FOLDER
    if not folder or not own.is_dir():
        return []
    return [p for p in sorted(own.glob("*.yaml")) if _inside(p, folder)]


def _inside(path: Path, folder: str) -> bool:
    return path.resolve().is_relative_to(Path(folder).resolve())


def part_file(name: str, folder: str = "") -> Path | None:
    """Return the file of a part; a user part wins over a shipped one."""
    if folder and "/" not in name and "\\" not in name and name not in ("", ".", ".."):
        mine = Path(folder) / USER_FOLDER / f"{name}.yaml"
        if mine.is_file() and _inside(mine, folder):
            return mine
    return shipped_files().get(name)


@cache
def _tree(path: Path, stamp: float) -> tuple[MappingNode | None, tuple[Diagnostic, ...]]:
    del stamp  # part of the key, so that an edited user part is read again
    shipped = path.is_relative_to(LIBRARY)
    if shipped:
        root, problems = parse_tree(path.read_text("utf-8"), f"library/{path.name}")
    else:
        root, problems = read_tree(path)
    return (root if isinstance(root, MappingNode) else None), tuple(problems)


def load_part(
    path: Path, settings: Mapping[str, Node] | None = None
) -> tuple[Part | None, tuple[Diagnostic, ...]]:
    """Read one part file.

    Args:
        path: the file.
        settings: what the item line sets, as nodes with the user's places.

    Returns:
        The part, or None, and what is wrong with it.
    """
    root, problems = _tree(path, path.stat().st_mtime)
    if root is None:
        return None, problems
    reader = PartReader(root, settings)
    part = reader.read()
    return part, (*problems, *reader.problems)


def as_nodes(settings: Mapping[str, str]) -> dict[str, Node]:
    """Return settings given as text (`2 A` or `[2 A, 1 A]`) as nodes without a place."""
    span = Span("", 0, 0)
    nodes: dict[str, Node] = {}
    for name, text in settings.items():
        if text.startswith("[") and text.endswith("]"):
            items = tuple(Scalar(t.strip(), span, False) for t in text[1:-1].split(","))
            nodes[name] = SequenceNode(items, span)
        else:
            nodes[name] = Scalar(text, span, False)
    return nodes


def find_part(
    name: str, settings: Mapping[str, str] | None = None, folder: str = ""
) -> Part | None:
    """Return a part by name with settings given as text, or None."""
    path = part_file(name, folder)
    if path is None:
        return None
    part, problems = load_part(path, as_nodes(settings or {}))
    return part if part is not None and not problems else None
