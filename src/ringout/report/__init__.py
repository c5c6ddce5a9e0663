"""Room 8: frozen view models, then text, JSON, sheets and drawings."""

from ringout.report.meter_view import meter_answer, meter_lines
from ringout.report.prove_json import prove_answer
from ringout.report.prove_text import prove_lines

__all__ = ["meter_answer", "meter_lines", "prove_answer", "prove_lines"]
