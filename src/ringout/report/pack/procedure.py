"""The checkout as it is worked through on paper: boxes to tick and fields to fill."""

from __future__ import annotations

from ringout.cell.model import Cell
from ringout.checkout import Checkout, Step
from ringout.report.checkout_view import hidden_reasons, length_words, stages_of
from ringout.report.pack.model import Procedure, StepRow


def paper_procedure(cell: Cell, checkout: Checkout) -> Procedure:
    """Return a checkout for paper.

    Args:
        cell: the cell.
        checkout: its procedure.
    """
    summary = (
        length_words(checkout),
        (
            f"{checkout.exposed} of {checkout.faults} single wiring faults are exposed; "
            "the rest is listed at the end."
        ),
    )
    bare = set(checkout.unguarded)
    return Procedure(
        summary,
        tuple(stages_of(cell)),
        tuple(f"{u.fault.id}: {u.why}" for u in checkout.harm_before_power if u not in bare),
        tuple(f"{u.fault.id}: {u.why}" for u in checkout.unguarded),
        tuple(_step(n, s) for n, s in enumerate(checkout.steps, 1)),
        tuple(hidden_reasons(checkout)),
    )


def _step(number: int, step: Step) -> StepRow:
    probes = [str(t) for t in (step.a, step.b) if t is not None]
    names = [t.item for t in (step.a, step.b) if t is not None]
    names += [actor.partition(".")[0] for actor, _ in step.state]
    return StepRow(
        number,
        step.phase,
        f"{step.do}.",
        step.expect,
        step.if_not,
        bool(step.unit),
        {"ohm": "Ω"}.get(step.unit, step.unit),
        tuple(dict.fromkeys(names)),
        tuple(dict.fromkeys([n for n, _ in step.levels] + [a for a, _ in step.state] + probes)),
    )
