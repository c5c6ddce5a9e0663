"""Faults for the screen: which are shown, and the story of one."""

from __future__ import annotations

from dataclasses import dataclass
from urllib.parse import quote, urlencode

from ringout.base import Span
from ringout.cell.model import Cell
from ringout.checkout import Checkout, Step
from ringout.findings.effects import EFFECT_KINDS, Effect, FaultEffects, FaultTable
from ringout.report.faults_view import KINDS, LATENT, chosen_rows
from ringout.web.exchange import Ask, whole
from ringout.web.setting import Setting

# What each effect is called, and the sign that says it without colour.
SHORT = {
    "harm": ("✗", "can damage"),
    "trips": ("!", "protection opens"),
    "level": ("≠", "a signal reads otherwise"),
    "moves": ("↯", "a load moves or glows"),
    LATENT: ("○", "nothing tells"),
}
FIELDS = ("item", "cable", "signal", "effect")
PER_PAGE = 40


@dataclass(frozen=True, slots=True)
class Chosen:
    """What a list of faults is narrowed to.

    Args:
        item: only faults that concern this item; empty for all, as all below.
        cable: likewise.
        signal: of this signal's circuit, or changing it.
        effect: with this effect.
        page: which part of the list, from 1.
        problems: what was asked for and is not there.
    """

    item: str = ""
    cable: str = ""
    signal: str = ""
    effect: str = ""
    page: int = 1
    problems: tuple[str, ...] = ()

    def url(self, **changes: object) -> str:
        """Return the address of a list."""
        words = {k: changes.get(k, getattr(self, k)) for k in FIELDS}
        page = changes.get("page", 1)
        pairs = [(k, str(v)) for k, v in words.items() if v]
        pairs += [("page", str(page))] if page != 1 else []
        return f"/faults?{urlencode(pairs)}" if pairs else "/faults"


def read_chosen(cell: Cell, ask: Ask) -> Chosen:
    """Return what a URL narrows the list to; names that are not there are told and left out."""
    known = {"item": cell.items, "cable": cell.cables, "signal": cell.signals, "effect": KINDS}
    found: dict[str, str] = {}
    problems = []
    for field in FIELDS:
        word = ask.first(field).strip()
        if word and word not in known[field]:
            problems.append(f"There is no {field} `{word}`.")
        elif word:
            found[field] = word
    page = max(1, whole(ask.first("page"), 5))
    return Chosen(**found, page=page, problems=tuple(problems))


def rows_of(table: FaultTable, chosen: Chosen) -> list[FaultEffects]:
    """Return the faults of a list, gravest effect and likeliest first."""
    rows = chosen_rows(
        table, item=chosen.item, cable=chosen.cable, signal=chosen.signal, effect=chosen.effect
    )
    return sorted(rows, key=lambda r: (KINDS.index(r.kind), -r.fault.likelihood))


def fault_url(fault_id: str) -> str:
    """Return the address of one fault's story."""
    return f"/faults/{quote(fault_id, safe=':@')}"


def state_of(effect: Effect) -> str:
    """Return the state of an effect as a URL carries it."""
    return "" if effect.state == "at rest" else effect.state


def circuit_links(cell: Cell, row: FaultEffects) -> list[tuple[str, str]]:
    """Return (text, address) of circuits with the fault in them, where it shows first."""
    links: dict[str, tuple[str, str]] = {}
    driven = {s.drives: s.name for s in cell.signals.values() if s.on is None}
    for effect in row.effects:
        signal = effect.what if effect.what in cell.signals else driven.get(effect.what, "")
        if signal and signal not in links:
            setting = Setting(state=state_of(effect), faults=(row.fault.id,))
            links[signal] = (f"{signal}, {effect.state}", setting.url(signal))
    for signal in row.fault.signals:
        if signal in cell.signals and signal not in links:
            links[signal] = (signal, Setting(faults=(row.fault.id,)).url(signal))
    return list(links.values())[:6]


def parted(row: FaultEffects) -> tuple[list[Effect], list[Effect]]:
    """Return what a fault changes, and what it harms."""
    harms = [e for e in row.effects if e.kind == EFFECT_KINDS[0]]
    return [e for e in row.effects if e.kind != EFFECT_KINDS[0]], harms


def exposing(checkout: Checkout, fault_id: str) -> tuple[int, Step] | None:
    """Return the first step that exposes a fault, with its number."""
    for number, step in enumerate(checkout.steps, 1):
        if any(f.id == fault_id for f in step.exposes):
            return number, step
    return None


def hidden_why(checkout: Checkout, fault_id: str) -> str:
    """Return why no step exposes a fault; empty when one does."""
    return next((u.why for u in checkout.not_exposable if u.fault.id == fault_id), "")


def line_in(path: str, spans: tuple[Span, ...]) -> int:
    """Return the first line of a file that a fault concerns; 0 for none."""
    return next((s.line for s in spans if s.file == path), 0)


def likely_words(likelihood: float, total: float) -> str:
    """Return how likely a fault is beside all others of the cell, in words."""
    percent = 100 * likelihood / total if total > 0 else 0.0
    return f"{percent:.2g} % of what is likely to be wrong in this cell"
