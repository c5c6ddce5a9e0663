"""Reading a YAML file into a tree, whatever is wrong with it."""

from __future__ import annotations

from pathlib import Path

from ringout.base.diagnostic import Diagnostic, Severity
from ringout.base.span import Span
from ringout.cellfile.source import LARGEST_BYTES, clean_text, load_source
from ringout.cellfile.swift import build_swiftly
from ringout.cellfile.tree import Mapping, Tree, is_blank


def read_tree(path: str | Path) -> tuple[Tree | None, tuple[Diagnostic, ...]]:
    """Read a YAML file.

    Args:
        path: the file.

    Returns:
        The top mapping with all that could be read, None if nothing could, and what is wrong.
    """
    source, problems = load_source(path)
    if source is None:
        return None, problems
    return parse_tree(source.text, source.file)


def parse_tree(text: str, file: str) -> tuple[Tree | None, tuple[Diagnostic, ...]]:
    """Read YAML text.

    Args:
        text: the text.
        file: name of the file for places.

    Returns:
        The top mapping with all that could be read, None if nothing could, and what is wrong.
    """
    if len(text) > LARGEST_BYTES:
        return None, (
            _at_top(file, "T004", "this text is larger than 2 MB, the most that is read"),
        )
    clean, problems = clean_text(text, file)
    plain = None if problems else build_swiftly(clean.lines, file)
    if isinstance(plain, Mapping):
        return plain, ()
    # Loaded only for files that are not plain, for it takes longer than reading a plain one.
    from ringout.cellfile.recover import build_or_salvage

    root, more = build_or_salvage(clean, file)
    problems += more
    if isinstance(root, Mapping):
        return root, problems
    if root is None or is_blank(root):
        return None, (*problems, _at_top(file, "T009", "the file is empty"))
    message = "the file does not begin with a line `name: value`"
    fix = "begin with `cell: NAME`"
    return None, (*problems, Diagnostic("T027", Severity.ERROR, message, root.span, fix=fix))


def _at_top(file: str, code: str, message: str) -> Diagnostic:
    fix = "start from the file `ringout new` writes"
    return Diagnostic(code, Severity.ERROR, message, Span(file, 1, 1, 1), fix=fix)
