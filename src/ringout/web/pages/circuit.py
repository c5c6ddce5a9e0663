"""Circuit of a signal: switch, measure and change the wiring, and see what follows."""

from __future__ import annotations

from typing import Any
from urllib.parse import quote

from ringout.cell.model import Cell
from ringout.report.drawing import build_circuit_view, on_state
from ringout.report.drawing.path_model import CircuitView
from ringout.web.aim import Aimer
from ringout.web.changes import Bench, Made, set_up, swapped_elsewhere
from ringout.web.exchange import Answer, Ask, Page, Redirect, Route, not_there
from ringout.web.hands import bridges_over, in_bench_words
from ringout.web.picture import picture
from ringout.web.reckon import Reckoned, reckon
from ringout.web.session import Session
from ringout.web.setting import Setting, read_setting
from ringout.web.snapshot import Snapshot
from ringout.web.switches import said, switches
from ringout.web.tools import candidates, fault_choices, tool_values

WIDTH_MM = 190.0


def choose(session: Session, ask: Ask) -> Answer:
    """Return the list of signals, or straight the circuit where there is but one."""
    del ask
    if not session.exists:
        return Redirect("/new")
    cell = session.now().cell
    if cell is None or not cell.signals:
        return Page("circuits.html", "Circuits", {"signals": [], "cell": cell})
    signals = [
        {
            "name": s.name,
            "channel": s.channel_name,
            "meaning": f"on while {s.on}" if s.on is not None else f"works {s.drives}",
            "url": f"/circuit/{quote(s.name, safe='')}",
        }
        for s in cell.signals.values()
    ]
    return Page("circuits.html", "Circuits", {"signals": signals, "cell": cell})


def show(session: Session, ask: Ask) -> Answer:
    """Return the circuit of a signal as it is set up in the URL."""
    now = session.now()
    cell = now.cell
    name = ask.words["signal"]
    if cell is None or name not in cell.signals:
        return not_there(f"There is no signal `{name}`.", "Choose one from the list of circuits.")
    setting = read_setting(ask)
    if ask.first("red") or ask.first("black"):
        return Redirect(setting.url(name))  # one address for one setting
    bench = set_up(now, setting)
    if name not in bench.variant.cell.signals:
        return not_there(f"With these parts there is no signal `{name}`.", "Go back one step.")
    done, view = solved(now, bench, name, setting)
    return Page("circuit.html", name, _values(cell, name, setting, bench, done, view))


def solved(
    now: Snapshot, bench: Bench, name: str, setting: Setting
) -> tuple[Reckoned, CircuitView]:
    """Return a setting solved and what is drawn of it; what was solved before is kept.

    Args:
        now: the cell.
        bench: the setting made real.
        name: the signal drawn.
        setting: the setting.
    """
    probed = (bench.red, bench.black, setting.mode) if bench.red and bench.black else ()
    done = now.shelf.get(("solved", bench.key, probed), lambda: reckon(bench, setting.mode))
    view = now.shelf.get(("view", bench.key, name), lambda: view_of(bench, name, done))
    return done, view


def view_of(bench: Bench, name: str, done: Reckoned) -> CircuitView:
    """Return what is drawn of a signal: after protection has opened."""
    cell, circuit = bench.variant.cell, bench.variant.circuit
    # always with a change, be it an empty one: the drawing then takes the state as it is asked
    view = build_circuit_view(
        cell, cell.signals[name], bench.state, fault=done.change, circuit=circuit
    )
    return in_bench_words(view, bench)


def _values(
    cell: Cell, name: str, setting: Setting, bench: Bench, done: Reckoned, view: CircuitView
) -> dict[str, Any]:
    aimer = Aimer(cell, name, setting, done.opened)
    own = cell.signals[name]
    wanted = said(
        bench.variant.cell, on_state(bench.variant.circuit, bench.variant.cell.signals[name])
    )
    here, rest = switches(bench, done, name, setting, {i.name for i in view.items})
    drawn, bridges = bridges_over(view, bench)
    opened = [f"{o} has opened: what hangs on it has no voltage any more." for o in done.opened]
    return {
        "signal": name,
        "channel": view.channel,
        "meaning": view.meaning,
        "result": view.result,
        "own": next((s for s in done.shown if s.name in (name, own.drives)), None),
        "reference": view.reference,
        "svg": picture(drawn, WIDTH_MM, aimer.aim, bridges),
        "setting": setting,
        "url": setting.url,
        "signals": [
            {"name": s, "url": setting.but(first="").url(s), "chosen": s == name}
            for s in cell.signals
        ],
        "here": here,
        "elsewhere": rest,
        "elsewhere_moved": any(s.choices and not s.choices[0].chosen for s in rest),
        "at_rest": not setting.state,
        "rest_url": setting.but(state="").url(name),
        "on_url": setting.but(state=wanted).url(name) if wanted != setting.state else "",
        "is_input": own.on is not None,
        "tools": tool_values(name, setting),
        "candidates": candidates(bench, name, setting) if setting.tool == "part" else None,
        "fault_choices": fault_choices(bench, name, setting) if setting.tool == "fault" else None,
        "made": [
            {
                "text": m.text,
                "trouble": m.trouble,
                "url": setting.toggled(m.field, m.word).url(name),
                "other": _more(aimer, m, setting, name),
            }
            for m in bench.made
        ],
        "filed_url": setting.but(
            faults=(), cuts=(), lifts=(), bridges=(), swaps=(), parts=(), first=""
        ).url(name),
        "problems": bench.problems,
        "cautions": (*opened, *done.cautions, *_cautions(view)),
        "meter": done.meter,
        "modes": [
            {
                "word": w,
                "text": t,
                "url": setting.but(mode=w).url(name),
                "chosen": w == setting.mode,
            }
            for w, t in (("volts", "Volts"), ("lowz", "Loaded volts"), ("ohms", "Ohms"))
        ],
        "turned_url": setting.but(red=setting.black, black=setting.red).url(name),
        "no_probe_url": setting.but(red="", black="").url(name),
        "inputs": [s for s in done.shown if s.kind == "input"],
        "loads": [s for s in done.shown if s.kind == "load"],
        "places": aimer.places(setting.lifts),
        "fields": setting.fields("probe", "first"),
        "items": view.items,
        "cables": view.cables,
    }


def _more(aimer: Aimer, made: Made, setting: Setting, name: str) -> dict[str, str] | None:
    """Return what else a change offers: a loose end can be probed, a swap made at the other end."""
    if made.field == "lifts":
        probed, label = aimer.probe(made.word)
        return {"text": label.partition(" on ")[0], "url": probed.but(tool="probe").url(name)}
    word = swapped_elsewhere(aimer.cell, made.word) if made.field == "swaps" else None
    if word is None:
        return None
    swaps = tuple(word if w == made.word else w for w in setting.swaps)
    return {"text": f"At {word.rpartition('@')[2]}", "url": setting.but(swaps=swaps).url(name)}


def _cautions(view: CircuitView) -> tuple[str, ...]:
    """Return what the drawing says of itself; what opens and chatters is told above it."""
    own = ("without current are left out", "follows its coil")
    return tuple(c for c in view.cautions if any(w in c for w in own))


ROUTES = (Route("/circuit", choose), Route("/circuit/{signal:path}", show))
