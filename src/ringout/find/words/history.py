"""That it worked before: what was never put together wrongly need not be looked for first."""

from __future__ import annotations

import re

from ringout.find.model import RAN, Observation
from ringout.find.words.sentence import Sentence

OWN = "it worked before"
_I = re.IGNORECASE
_IT = r"(?:(?:it|this|all|everything|the\s+(?:cell|machine|line|station))\s+)"
_PAST = (
    r"(?:\s*(?:well|fine|ok|all\s+right)?\s*(?:for\s+(?:\w+\s+){1,3})?"
    r"(?:before|earlier|until\s+(?:now|today|yesterday|recently|just\s+now|(?:last|this)\s+\w+)"
    r"|till\s+(?:now|today|yesterday)|yesterday|last\s+\w+|this\s+morning"
    r"|for\s+(?:a\s+long\s+time|(?:\w+\s+)?(?:hours|days|weeks|months|years))))"
)
_SAYINGS = tuple(
    re.compile(text, _I)
    for text in (
        (
            rf"{_IT}?(?:has\s+|had\s+)?(?:worked|ran|run|been\s+running|been\s+working|was\s+running"
            rf"|was\s+working|was\s+(?:fine|ok|good)){_PAST}"
        ),
        rf"{_IT}?used\s+to\s+(?:work|run)(?:\s+(?:fine|well|before))?",
        (
            r"(?:nothing|no\s+wire|no\s+wiring)\s+(?:was|has\s+been|is|were)\s+"
            r"(?:changed|touched|rewired|altered)"
        ),
        (
            r"(?:nobody|no\s+one)\s+(?:has\s+)?(?:changed|touched|rewired|altered)"
            r"(?:\s+(?:anything|it|the\s+wiring|the\s+wires))?"
        ),
        r"no\s+changes?\s+(?:was|were|has\s+been|have\s+been)\s+made",
        r"the\s+wiring\s+(?:is|was)\s+(?:unchanged|not\s+changed|not\s+touched|untouched)",
    )
)


def read_history(sentence: Sentence, text: str) -> Observation | None:
    """Return that the cell worked as it is wired now, when a whole sentence says so.

    Args:
        sentence: the sentence; it must say nothing else.
        text: the sentence as it was said.
    """
    said = " ".join(sentence.rest.split()).strip(" .!")
    if not any(pattern.fullmatch(said) for pattern in _SAYINGS):
        return None
    return worked_before(text)


def worked_before(text: str = OWN) -> Observation:
    """Return the observation that the cell worked before, as it is wired now."""
    return Observation(text=text, kind=RAN, understood=OWN, outcome="good")
