"""What the rules of the house are about: the tracked files and the rooms."""

from __future__ import annotations

import ast
import shutil
import subprocess
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PACKAGE = ROOT / "src" / "ringout"

# Rooms and their numbers; an import only ever points to a smaller number.
ROOMS = {
    "base": 0,
    "tables": 1,
    "cellfile": 2,
    "cell": 3,
    "circuit": 4,
    "solve": 5,
    "findings": 6,
    "checkout": 7,
    "find": 7,
    "report": 8,
    "run": 9,
    "records": 10,
    "live": 10,
    "web": 11,
    "cli": 12,
}

# Where a checkout without git keeps what is not ours.
_NOT_OURS = {".git", ".venv", "build", "dist", "__pycache__"}


def tracked_files() -> list[Path]:
    """Return every file that is or would be committed, with its full path."""
    if (ROOT / ".git").exists() and shutil.which("git"):
        words = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
        listed = subprocess.run(words, cwd=ROOT, capture_output=True, check=True).stdout
        paths = {ROOT / name for name in listed.decode().split("\0") if name}
        return sorted(path for path in paths if path.is_file())
    return sorted(
        path
        for path in ROOT.rglob("*")
        if path.is_file()
        and not any(
            part in _NOT_OURS or part.endswith((".egg-info", "_cache", ".hypothesis"))
            for part in path.relative_to(ROOT).parts
        )
    )


def tracked_text() -> list[tuple[str, str]]:
    """Return (name from the root, text) of every tracked file that is UTF-8 text."""
    found = []
    for path in tracked_files():
        try:
            found.append((path.relative_to(ROOT).as_posix(), path.read_text(encoding="utf-8")))
        except UnicodeDecodeError:
            continue  # pictures, and the broken files that tests feed to the reader
    return found


def modules() -> list[Path]:
    """Return every module of the package."""
    return sorted(PACKAGE.rglob("*.py"))


def tree_of(path: Path) -> ast.Module:
    """Return the syntax tree of a module."""
    return ast.parse(path.read_text(encoding="utf-8"), filename=str(path))


def short(path: Path) -> str:
    """Return a path as it reads from the root of the checkout."""
    return path.relative_to(ROOT).as_posix()


def dotted(path: Path) -> str:
    """Return the import name of a module of the package."""
    parts = path.relative_to(PACKAGE.parent).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)
