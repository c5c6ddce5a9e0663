"""What a person says at a step, judged against what the step prints."""

from __future__ import annotations

import math
from dataclasses import dataclass

from ringout.find.words.sentence import UnclearError
from ringout.find.words.value import read_value
from ringout.records.evidence import RunStep
from ringout.records.model import RIGHT, WRONG, UnclearReadingError

_YES = {"ok", "o.k.", "okay", "y", "yes", "right", "as expected", "good", "seen", "passed"}
_NO = {"n", "no", "wrong", "bad", "failed", "not ok", "nok"}
_UNIT = {"ohm": "Ω", "V": "V"}
_SHY = 1e-9  # of rounding, so that a reading at the limit as printed is within it


@dataclass(frozen=True, slots=True)
class Read:
    """A reading as it is understood.

    Args:
        text: in the tool's own words, or what the person said of a look.
        value: ohms or volts, `inf` for open; None for a look.
        verdict: `right` or `wrong`.
        detail: JSON of what else was seen, as by the live checkout; empty for nothing.
    """

    text: str
    value: float | None
    verdict: str
    detail: str = ""


def read_reading(step: RunStep, text: str, unit: str = "") -> Read:
    """Judge what was said at a step.

    A reading is compared with the limits as they are printed; they hold the meter's error. The
    unit may be left out. At a look, `ok` is right and anything that begins with `no` or `wrong`
    is wrong.

    Args:
        step: the step.
        text: `0.8`, `23.9 V`, `4.7k`, `open`, `ok`, `no: lamp stays dark` ...
        unit: unit of a figure that has none; empty for Ω or V, as the step reads.

    Raises:
        UnclearReadingError: it cannot be understood, or a range lies across a limit.
    """
    said = " ".join(text.split())
    if not said:
        raise UnclearReadingError("nothing was said", _example(step))
    return _figure(step, said, unit) if step.unit else _look(step, said)


def _look(step: RunStep, said: str) -> Read:
    word = said.casefold().rstrip(".!")
    if word in _YES:
        return Read("as expected", None, RIGHT)
    first, _, rest = said.partition(":")
    if first.casefold().strip() in _NO or word in _NO:
        return Read(rest.strip() or "not as expected", None, WRONG)
    first, _, rest = said.partition(" ")
    if first.casefold().rstrip(",") in _NO and rest:
        return Read(rest.strip(), None, WRONG)
    raise UnclearReadingError(f"`{said}`: is that as expected, or not?", _example(step))


def _figure(step: RunStep, said: str, unit: str) -> Read:
    assert step.low is not None
    assert step.high is not None
    unit = unit or _UNIT[step.unit]
    whole = (0, len(said))
    try:
        shown = read_value(said, whole)
    except UnclearError as problem:
        if problem.code != "N317":
            raise UnclearReadingError(problem.message, problem.fix or _example(step)) from problem
        try:
            shown = read_value(f"{said} {unit}", whole)
        except UnclearError as again:
            raise UnclearReadingError(again.message, again.fix or _example(step)) from again
    wanted = "ohms" if step.unit == "ohm" else "volts"
    if shown.quantity != wanted:
        raise UnclearReadingError(
            f"`{said}` is in {shown.quantity}, and this step reads {wanted}", _example(step)
        )
    single = shown.words[:1].isdigit() or shown.words[:1] == "-"
    if (single and " to " not in shown.words) or math.isinf(shown.low):
        low = high = shown.typ
    elif math.isinf(shown.typ) and math.isinf(step.high):  # `open`, where open is wanted
        low = high = math.inf
    else:
        low, high = shown.low, shown.high
    room = _SHY * max(1.0, abs(shown.typ)) if math.isfinite(shown.typ) else 0.0
    least, most = step.low - room, step.high + room
    if least <= low and high <= most:
        verdict = RIGHT
    elif high < least or low > most:
        verdict = WRONG
    else:
        raise UnclearReadingError(
            f"`{said}` may be right or wrong here: {step.expect} is wanted",
            "read it again and give the figure",
        )
    return Read(shown.words, shown.typ, verdict)


def _example(step: RunStep) -> str:
    if step.unit == "ohm":
        return "say it as in `0.8`, `4.7k` or `open`"
    if step.unit:
        return "say it as in `23.9` or `0.02 V`"
    return "say `ok`, or `no: ` and what you see"
