"""Room 7: every wiring fault with its effects, and the procedure that exposes them."""

from ringout.checkout.effects import Laid, effects_of, fault_table, lay_out
from ringout.checkout.model import EFFECT_KINDS, Effect, FaultEffects, FaultTable
from ringout.checkout.settled import FaultStates, settle_faults

__all__ = [
    "EFFECT_KINDS",
    "Effect",
    "FaultEffects",
    "FaultStates",
    "FaultTable",
    "Laid",
    "effects_of",
    "fault_table",
    "lay_out",
    "settle_faults",
]
