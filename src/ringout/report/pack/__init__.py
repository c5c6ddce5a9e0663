"""`ringout pack`: everything a fitter is handed, as one PDF, with drawings for other programs."""

from ringout.report.pack.build import MOST_FAULTS, build_pack, out_of_time, without_checkout
from ringout.report.pack.model import Pack, RecordPage, RecordRow
from ringout.report.pack.pdf import Printed, pack_pdf

__all__ = [
    "MOST_FAULTS",
    "Pack",
    "Printed",
    "RecordPage",
    "RecordRow",
    "build_pack",
    "out_of_time",
    "pack_pdf",
    "without_checkout",
]
