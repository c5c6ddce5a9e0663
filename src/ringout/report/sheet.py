"""`ringout sheet`: everything that is needed to make off, land and label every end of a cell."""

from ringout.report.faces_files import write_faces
from ringout.report.sheet_build import build_sheet
from ringout.report.sheet_files import write_csv, write_xlsx
from ringout.report.sheet_json import sheet_answer
from ringout.report.sheet_model import Sheet
from ringout.report.sheet_text import sheet_text

__all__ = [
    "Sheet",
    "build_sheet",
    "sheet_answer",
    "sheet_text",
    "write_csv",
    "write_faces",
    "write_xlsx",
]
