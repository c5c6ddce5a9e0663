"""Room 6: solutions to levels, margins, loads, harm and remedies."""

from ringout.findings.judge import judge
from ringout.findings.meter import Reading, read_meter
from ringout.findings.model import Finding, Judgement, Level, NotRun, Remedy, SignalResult
from ringout.findings.remedies import with_remedies

__all__ = [
    "Finding",
    "Judgement",
    "Level",
    "NotRun",
    "Reading",
    "Remedy",
    "SignalResult",
    "judge",
    "read_meter",
    "with_remedies",
]
