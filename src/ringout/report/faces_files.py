"""Faces as files: a card for each used socket, and one for each connector type met."""

from __future__ import annotations

from pathlib import Path

from ringout.report.faces_model import bare_face
from ringout.report.sheet_files import check_folder, free_name, write_whole
from ringout.report.sheet_model import Sheet


def write_faces(sheet: Sheet, folder: str | Path) -> list[Path]:
    """Write the faces of a sheet as SVG.

    Args:
        sheet: the sheet.
        folder: gets `K1-X1.svg` and so on for each used socket whose pin places are known, and
            `type-m12-a-5.svg` and so on with bare faces, male and female, from both sides.

    Returns:
        The files written.

    Raises:
        OSError: the place cannot be written; no file is left half-written.
    """
    from ringout.report.drawing.faces import draw_face_card  # only drawings load that room

    target = Path(folder)
    check_folder(target)
    drawn = [face for face in sheet.faces if face.drawn]
    cards = {face.place: draw_face_card(face).svg for face in drawn}
    for connector in dict.fromkeys(face.connector for face in drawn):
        cards[f"type-{connector}"] = draw_face_card(bare_face(connector, "male")).svg
    files: list[Path] = []
    taken: set[str] = set()
    for name, text in cards.items():
        file = target / f"{free_name(name, taken)}.svg"
        write_whole(file, text.encode("utf-8"))
        files.append(file)
    return files
