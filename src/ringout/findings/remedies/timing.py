"""Remedies for filters that are too fast or too slow."""

from __future__ import annotations

from collections.abc import Iterable

from ringout.base import Interval
from ringout.cell.edit import with_signal
from ringout.findings.model import Finding
from ringout.findings.remedies.proposal import Proposal
from ringout.findings.remedies.trials import Trials
from ringout.tables.timing import offered_filters_s

OFFERS = "a"  # the usual row of offered filters
COMFORT = 2.0  # a filter twice as long as the pulse leaves room


def propose_timing(trials: Trials, finding: Finding) -> Iterable[Proposal]:
    """Yield filter settings that let through what must be seen and nothing else."""
    cell = trials.cell
    if finding.code not in ("F601", "F602", "F603"):
        return
    name = finding.get("signal")
    numbers = {q.name: q.value for q in finding.numbers}
    signal = cell.signals[name]
    offered_ms = [s * 1000 for s in offered_filters_s(OFFERS)]
    if finding.code == "F603":
        choices = [ms for ms in offered_ms if ms < numbers["pulse"]][::-1]
    else:
        least = max(numbers.get("test pulse", 1.0) * COMFORT, 1.0)
        choices = [ms for ms in offered_ms if ms >= least]
        default = signal.channel.values.get("filter")
        if default is not None and default.typ * 1000 >= least:
            choices.insert(0, default.typ * 1000)
    for ms in dict.fromkeys(choices[:2]):
        changed = with_signal(cell, name, filter_s=Interval.exact(ms / 1000.0))
        old = f"filter: {signal.filter_s.typ * 1000:g} ms" if signal.filter_s else ""
        yield Proposal(
            f"set the input filter of {signal.channel_name} to {ms:g} ms",
            changed,
            ((old, f"filter: {ms:g} ms"),),
            (name,),
        )
