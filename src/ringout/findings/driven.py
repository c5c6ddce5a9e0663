"""Driven loads judged: enough voltage while on, and little enough left while off."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from ringout.base import Severity
from ringout.base.quantity import format_plain
from ringout.findings.levels import SignalStates
from ringout.findings.model import Finding, Level, SignalResult

Tell = Callable[[str, Severity, str], Finding]


def glows(states: SignalStates, off: Level | None) -> bool:
    """Return whether a lamp glows while it should be dark, but is far from lit."""
    if not states.dark_a or off is None or off.margin_v >= 0 or states.limits.on_v is None:
        return False
    return off.v_high < states.limits.on_v


def load_findings(states: SignalStates, result: SignalResult, finding: Tell) -> Iterable[Finding]:
    """Yield what is wrong with a load: too little while on, too much while off."""
    signal, on, off = states.signal, result.on, result.off
    if on is not None and on.margin_v < 0:
        yield finding(
            "F301",
            Severity.ERROR,
            f"{signal.drives} does not surely work when {signal.channel_name} is on: "
            f"it gets {format_plain(on.v_low, 'V', decimals=1)} at worst, it needs "
            f"{states.limits.on_v:.1f} V",
        )
    if glows(states, off):
        yield finding(
            "F305",
            Severity.WARNING,
            f"{signal.drives} may glow while {signal.channel_name} is off: up to "
            f"{max(states.dark_a.values()) * 1000:.2f} mA flow through it",
        )
    elif off is not None and off.margin_v < 0 and states.dark_a:
        yield finding(
            "F302",
            Severity.ERROR,
            f"{signal.drives} can be lit while {signal.channel_name} is off: up to "
            f"{max(states.dark_a.values()) * 1000:.1f} mA flow through it",
        )
    elif off is not None and off.margin_v < 0:
        yield finding(
            "F302",
            Severity.ERROR,
            f"{signal.drives} is not surely off when {signal.channel_name} is off: "
            f"{off.v_high:.1f} V can be left on it, off needs {states.limits.off_v:.1f} V or less",
        )
