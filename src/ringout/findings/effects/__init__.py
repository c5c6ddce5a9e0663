"""What each wiring fault does: states with faults solved, compared with the healthy cell."""

from ringout.findings.effects.batch import Laid, lay_out
from ringout.findings.effects.loads import Watched, watch
from ringout.findings.effects.model import EFFECT_KINDS, Effect, FaultEffects, FaultTable
from ringout.findings.effects.settled import FaultStates, settle_faults
from ringout.findings.effects.states import Reach, States
from ringout.findings.effects.table import effects_of, fault_table

__all__ = [
    "EFFECT_KINDS",
    "Effect",
    "FaultEffects",
    "FaultStates",
    "FaultTable",
    "Laid",
    "Reach",
    "States",
    "Watched",
    "effects_of",
    "fault_table",
    "lay_out",
    "settle_faults",
    "watch",
]
