"""Why a fault stays hidden, and why one may do harm before it is seen."""

from __future__ import annotations

from ringout.circuit.faults import Fault
from ringout.findings.effects import FaultEffects

_BY_EYE = {
    "suppressor-absent": "look that the suppressor is there",
    "suppressor-reversed": "look at the suppressor's ring: it points to +",
    "wrong-part": "read the type on the part",
}


def by_eye(fault: Fault) -> str:
    """Return what shows a fault by eye, or nothing."""
    return _BY_EYE.get(fault.kind, "")


def why_not_exposable(fault: Fault, effects: FaultEffects) -> str:
    """Return why no look of the procedure can tell a fault from the healthy cell."""
    eye = _BY_EYE.get(fault.kind)
    if fault.kind == "water":
        return (
            "The leak draws less than the parts' own tolerance; with both plugs pulled a dry "
            "connector reads open."
        )
    if eye is not None:
        return f"No reading differs by more than tolerance and meter error: {eye}."
    if effects.latent:
        return effects.why
    first = effects.effects[0].text
    return f"It shows only beyond what the procedure does, or within tolerance: {first}."


def why_harm_first(effects: FaultEffects, step: int) -> str:
    """Return why a harmful fault is not exposed while dead, and what to do about it."""
    harm = next(e.text for e in effects.effects if e.kind == "harm")
    eye = _BY_EYE.get(effects.fault.kind)
    if step:
        return f"No ohm reading shows it; step {step} does. Until then: {harm}."
    if eye is not None:
        return f"No reading shows it: {eye} before power. Else: {harm}."
    return f"No reading shows it. {harm}."
