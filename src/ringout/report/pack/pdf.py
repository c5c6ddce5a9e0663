"""A pack to PDF: the templates are compiled with the pack as data, on every machine alike."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ringout.report.pack.data import pack_data
from ringout.report.pack.model import Pack
from ringout.tables.labels import LabelSize

PAGES = Path(__file__).parent / "pages"
FONTS = Path(__file__).parent / "fonts"
ARCHIVE: Final = "a-2a"  # PDF/A for keeping: fonts inside, tagged, searchable
NO_SIGN = "could not be displayed"  # how the compiler says that no font has a sign


@dataclass(frozen=True, slots=True)
class Printed:
    """A finished document.

    Args:
        content: the bytes of the file.
        archive: it keeps to PDF/A.
        why_not: why it does not; empty when it does.
    """

    content: bytes
    archive: bool
    why_not: str = ""


def pack_pdf(
    pack: Pack,
    *,
    paper: str,
    size: LabelSize,
    only: str | None = None,
    fonts: str | None = None,
) -> Printed:
    """Return a pack as PDF; the same pack gives the same bytes.

    Args:
        pack: the pack.
        paper: `a4` or `letter`.
        size: label stock.
        only: `sheets`, `labels` or `checkout`; None for the whole pack.
        fonts: folder with further fonts, for scripts the own ones do not hold.

    Returns:
        The document. Where no font has a sign it shows a box, says so on the cover, and is no
        PDF/A.

    Raises:
        ValueError: the pages could not be set; the message says why.
    """
    import typst

    data = pack_data(pack, paper=paper, only=only, size=size)
    compiler = typst.Compiler(
        str(PAGES / "main.typ"),
        root=str(PAGES),
        font_paths=[str(FONTS), *([fonts] if fonts else [])],
        ignore_system_fonts=True,
    )
    try:
        made = compiler.compile(
            format="pdf", pdf_standards=[ARCHIVE], sys_inputs={"data": json.dumps(data)}
        )
        return Printed(_one(made), archive=True)
    except typst.TypstError as problem:
        why = str(problem)
    data["boxes"] = NO_SIGN in why
    try:
        made = compiler.compile(format="pdf", sys_inputs={"data": json.dumps(data)})
        return Printed(_one(made), archive=False, why_not=why)
    except typst.TypstError as problem:
        raise ValueError(f"the pages could not be set: {problem}") from problem


def _one(made: bytes | list[bytes] | None) -> bytes:
    """Return the document; PDF is always one."""
    if not isinstance(made, bytes):
        raise TypeError(f"one document was expected, not {type(made).__name__}")
    return made
