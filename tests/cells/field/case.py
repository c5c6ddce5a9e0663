"""A field case: its folder read, and each thing it claims checked; see FORMAT.md."""

from __future__ import annotations

import shutil
import tomllib
from collections.abc import Mapping, Sequence
from functools import lru_cache
from pathlib import Path
from typing import Any

from ringout import run
from ringout.base import Severity
from ringout.cell.ask import resolve_lifts, resolve_probe, resolve_state
from ringout.cell.model import Cell
from ringout.circuit.compile import compile_circuit
from ringout.circuit.faults import Fault, find_fault, single_faults
from ringout.find.model import Found
from ringout.findings.looks import HEALTHY_CELL, LEVELS, Look, lamp_of, predict
from ringout.findings.meter import read_meter
from ringout.findings.model import Finding, Judgement, SignalResult

FIELD = Path(__file__).parent
# What the issue allows a predicted reading to differ by, whichever is wider.
TOL_RATIO, TOL_V = 0.1, 0.3

KEYS = {
    "": {
        "id", "subject", "grade", "settled", "wired", "truth", "healthy", "candidates", "excluded",
        "observations", "not_served", "limits", "absent",
        "readings", "findings", "levels", "seen", "remedies", "splits",
    },
    "readings": {
        "red", "black", "while", "lift", "mode", "fault", "cell", "value", "tol_ratio", "tol_v",
        "low", "high", "source",
    },
    "findings": {"code", "place", "says", "numbers", "source"},
    "numbers": {"name", "value", "unit", "tol_ratio", "tol_v", "low", "high"},
    "levels": {
        "signal", "when", "verdict", "value", "tol_ratio", "tol_v", "low", "high", "source",
    },
    "seen": {"kind", "what", "while", "lift", "fault", "word", "source"},
    "remedies": {
        "change", "edit", "cell", "must", "marginal", "signals", "codes", "gone", "levels",
        "readings", "findings", "seen", "why", "source",
    },
    "splits": {"sentence", "left", "out", "do"},
}  # fmt: skip

Table = dict[str, Any]


class Case:
    """One case folder.

    Args:
        name: folder name under `tests/cells/field`.
    """

    def __init__(self, name: str) -> None:
        self.folder = FIELD / name
        self.name = name
        self.data: Table = tomllib.loads((self.folder / "case.toml").read_text(encoding="utf-8"))
        _check_keys(self.data)
        self.served = not self.data.get("not_served")

    def many(self, key: str) -> list[Any]:
        """Return a list of the head, empty when it is not there."""
        return list(self.data.get(key, []))

    def path(self, file: str = "cell.yaml") -> str:
        """Return the path of a file of the folder."""
        return str(self.folder / file)

    def cell(self, file: str = "cell.yaml") -> Cell:
        """Return a cell of the folder; its file must be without error."""
        return _cell(self.path(file))

    def fault(self, name: str, file: str = "cell.yaml") -> Fault:
        """Return a fault of the cell by its id."""
        found = find_fault(_faults(self.path(file)), name)
        assert found is not None, f"{self.name}: no fault {name}"
        return found

    def changed(self, remedy: Mapping[str, Any], folder: Path) -> str:
        """Return the path of the cell with a remedy carried out, in a folder of its own."""
        if "cell" in remedy:
            return self.path(str(remedy["cell"]))
        text = (self.folder / "cell.yaml").read_text(encoding="utf-8")
        for edit in remedy["edit"]:
            assert text.count(edit["old"]) == 1, f"{edit['old']} not once in {self.name}"
            text = text.replace(edit["old"], edit["new"])
        copy = folder / self.name
        if (self.folder / "parts").is_dir():
            shutil.copytree(self.folder / "parts", copy / "parts")
        copy.mkdir(parents=True, exist_ok=True)
        (copy / "cell.yaml").write_text(text, encoding="utf-8")
        return str(copy / "cell.yaml")


def _check_keys(data: Mapping[str, Any], where: str = "") -> None:
    """A key mistyped would silently check nothing."""
    strange = set(data) - KEYS[where]
    assert not strange, f"unknown keys {strange} in {where or 'the head'}"
    for key, value in data.items():
        if key in KEYS and isinstance(value, list):
            for entry in value:
                _check_keys(entry, key)


@lru_cache(maxsize=64)
def _cell(path: str) -> Cell:
    loaded = run.load(path)
    assert loaded.cell is not None, path
    bad = [str(p.message) for p in loaded.problems if p.severity is Severity.ERROR]
    assert not bad, f"{path}: {bad}"
    return loaded.cell


@lru_cache(maxsize=64)
def _faults(path: str) -> tuple[Fault, ...]:
    return single_faults(compile_circuit(_cell(path)))


@lru_cache(maxsize=128)
def judged(path: str) -> Judgement:
    """Return what prove says of a cell, remedies apart."""
    _cell(path)
    _, judgement = run.prove(path, remedies=False)
    assert judgement is not None
    assert judgement.worst_residual_a <= 1e-9  # Kirchhoff on every solution
    return judgement


# -- figures -----------------------------------------------------------------------------------


def assert_figure(said: float | None, wanted: Mapping[str, Any], what: str) -> None:
    """A figure agrees with the one of the case, or lies in its range."""
    value = wanted.get("value")
    if value == "open":
        assert said is None, f"{what}: {said}, not open"
        return
    assert said is not None, f"{what}: open, not {value}"
    if value is None:
        low, high = wanted.get("low", -1e12), wanted.get("high", 1e12)
        assert low <= said <= high, f"{what}: {said:.3f}, not {low}..{high}"
        return
    own = "tol_ratio" in wanted or "tol_v" in wanted
    ratio = min(wanted.get("tol_ratio", 0.0 if own else TOL_RATIO), TOL_RATIO)
    # a tenth or 0.3 V at most; 0.3 of another unit would be no check
    volts = 0.0 if wanted.get("unit", "V") != "V" else TOL_V
    allowed = max(abs(value) * ratio, min(wanted.get("tol_v", 0.0 if own else volts), volts))
    assert abs(said - value) <= allowed, f"{what}: {said:.3f}, the case says {value}"


def _look(cell: Cell, entry: Mapping[str, Any], kind: str) -> Look:
    state, problems = resolve_state(cell, entry.get("while", ""))
    assert not problems, [p.message for p in problems]
    lifted, problems = resolve_lifts(cell, entry.get("lift", []))
    assert not problems, [p.message for p in problems]
    probes: dict[str, Any] = {}
    for name, key in (("a", "red"), ("b", "black")):
        if key in entry:
            probes[name], problems = resolve_probe(cell, entry[key], lifted)
            assert not problems, [p.message for p in problems]
    return Look(
        kind,
        **probes,
        what=entry.get("what", ""),
        state=tuple(sorted(state.items())),
        lifted=tuple(sorted(lifted)),
        powered=kind != "ohms",
    )


def check_reading(case: Case, entry: Mapping[str, Any], path: str | None = None) -> None:
    """A meter shows what the case says, with the fault in place if one is named."""
    file = entry.get("cell", "cell.yaml")
    path = path or case.path(file)
    cell = _cell(path)
    mode = entry.get("mode", "volts")
    look = _look(cell, entry, mode)
    assert look.a is not None and look.b is not None
    what = f"{case.name}: {entry['red']} to {entry['black']} {entry.get('while', 'at rest')}"
    if fault := entry.get("fault"):
        found = find_fault(_faults(path), fault)
        assert found is not None, f"{case.name}: no fault {fault}"
        said = float(predict(cell, look, [found], spread=False).typ[0])
        value = None if said == float("inf") else said
        assert_figure(value, entry, f"{what} with {fault}")
        return
    reading = read_meter(
        cell, look.a, look.b, state=dict(look.state), lifted=look.lifted, mode=mode
    )
    assert_figure(reading.value, entry, what)


def check_seen(case: Case, entry: Mapping[str, Any], path: str | None = None) -> None:
    """A level, lamp or load is seen as the case says."""
    path = path or case.path()
    cell = _cell(path)
    look = _look(cell, entry, entry["kind"])
    if look.kind == "lamp":
        assert lamp_of(compile_circuit(cell), look.what) is not None, f"{look.what} has no lamp"
    fault = HEALTHY_CELL
    if name := entry.get("fault"):
        found = find_fault(_faults(path), name)
        assert found is not None, f"{case.name}: no fault {name}"
        fault = found
    said = float(predict(cell, look, [fault], spread=False).typ[0])
    words = look.words if look.kind != "level" else LEVELS
    assert words[round(said)] == entry["word"], (
        f"{case.name}: {look.what} {words[round(said)]}, the case says {entry['word']}"
    )


# -- what prove says ---------------------------------------------------------------------------


def check_finding(judgement: Judgement, entry: Mapping[str, Any]) -> None:
    """Prove reports the finding, at its place, in these words, with these figures."""
    code, place = entry["code"], entry.get("place")
    found = [f for f in judgement.findings if f.code == code and place in (None, f.place)]
    told = [(f.code, f.place) for f in judgement.findings]
    assert found, f"{code} on {place or 'anything'} is not among {told}"
    wrong = [w for w in (_differs(f, entry) for f in found) if w]
    assert len(wrong) < len(found), wrong


def _differs(finding: Finding, entry: Mapping[str, Any]) -> str:
    """Return how a finding differs from what the case says, or an empty string."""
    missing = [w for w in entry.get("says", []) if w not in finding.message]
    if missing:
        return f"`{finding.message}` does not say {missing}"
    for wanted in entry.get("numbers", []):
        have = [
            q.value
            for q in finding.numbers
            if q.name == wanted["name"] and q.unit == wanted["unit"]
        ]
        if not have:
            return f"no {wanted['name']} in {wanted['unit']} among {finding.numbers}"
        try:
            assert_figure(have[0], wanted, wanted["name"])
        except AssertionError as error:
            return str(error)
    return ""


def signal_of(judgement: Judgement, name: str) -> SignalResult:
    """Return a signal's verdict."""
    return next(s for s in judgement.signals if s.name == name)


def check_level(judgement: Judgement, entry: Mapping[str, Any]) -> None:
    """A signal's level is as the case says, and judged so."""
    signal = signal_of(judgement, entry["signal"])
    if "verdict" in entry:
        assert signal.verdict == entry["verdict"], (signal.name, signal.verdict)
    if "when" in entry:
        level = signal.on if entry["when"] == "on" else signal.off
        assert level is not None, f"{signal.name} has no level while {entry['when']}"
        assert_figure(level.v_typ, entry, f"{signal.name} {entry['when']}")


def check_absent(judgement: Judgement, codes: Sequence[str]) -> None:
    """None of these codes is reported."""
    said = [(f.code, f.place, f.message) for f in judgement.findings if f.code in codes]
    assert not said, said


# -- remedies ----------------------------------------------------------------------------------


def check_remedy(case: Case, remedy: Mapping[str, Any], folder: Path) -> None:
    """The changed cell, solved, behaves as the case (or its check) says of this remedy."""
    path = case.changed(remedy, folder)
    judgement = judged(path)
    names = remedy.get("signals", [s.name for s in judgement.signals])
    verdicts = {n: signal_of(judgement, n).verdict for n in names}
    codes = {f.code for f in judgement.findings}
    where = f"{case.name}: {remedy['change']}: {verdicts} {sorted(codes)}"
    if remedy["must"] == "works":
        good = {"works", "marginal"} if remedy.get("marginal") else {"works"}
        assert set(verdicts.values()) <= good, where
        assert not remedy.get("marginal") or "marginal" in verdicts.values(), where
    else:
        assert remedy["must"] == "fails", remedy["must"]
        named = remedy.get("codes", [])
        assert "fails" in verdicts.values() or named, where
    missing = set(remedy.get("codes", [])) - codes
    assert not missing, f"{where}: {missing} is not reported"
    left = set(remedy.get("gone", [])) & codes
    assert not left, f"{where}: {left} is still there"
    for entry in remedy.get("levels", []):
        check_level(judgement, entry)
    for entry in remedy.get("findings", []):
        check_finding(judgement, entry)
    for entry in remedy.get("readings", []):
        check_reading(case, entry, path)
    for entry in remedy.get("seen", []):
        check_seen(case, entry, path)


# -- the head ----------------------------------------------------------------------------------


def check_head(case: Case) -> None:
    """The head says what a case needs, and a served case claims something that is checked."""
    data = case.data
    number = int(data["id"].removeprefix("FC-O-"))
    assert case.name.startswith(f"c{number:02d}_"), case.name
    assert data["subject"] and data["grade"] in "ABC"
    assert isinstance(data["settled"], bool)
    if not case.served:
        return
    assert data["wired"] in ("as found", "as drawn")
    asked = data.get("truth") or data.get("healthy") or data.get("candidates")
    claims = [*case.many("findings"), *case.many("readings"), *case.many("seen")]
    assert claims, "nothing of this case is checked"
    if data["wired"] == "as drawn":
        assert asked and case.many("observations")
    if not data["settled"]:
        assert case.many("candidates") and case.many("splits")
    for split in case.many("splits"):
        assert set(split["left"]) | set(split["out"]) <= set(case.many("candidates"))


RULED_OUT = 0.15  # of the first suspect's share: one contradicted sentence weighs less than that


# -- find --------------------------------------------------------------------------------------


@lru_cache(maxsize=64)
def found_in(case: Case, *more: str) -> Found:
    """Return what find says to the observations of a case, and to further sentences."""
    from ringout.find import find_culprits  # not wanted by the other checks
    from ringout.find.words import understand

    cell = case.cell()
    seen = []
    for text in (*case.many("observations"), *more):
        observation, problems = understand(cell, text)
        assert observation is not None, f"{case.name}: `{text}`: {[p.message for p in problems]}"
        seen.append(observation)
    return find_culprits(cell, seen)


def check_found(case: Case, found: Found) -> None:
    """Find names what is wrong: the truth among the first three, every candidate, nothing excluded.

    Args:
        case: the case.
        found: the answer to the observations of the case.
    """
    said = [[f.id for f in c.faults] for c in found.culprits]
    what = f"{case.name}: {said[:5]}"
    assert not found.contradictions, found.contradictions
    if case.data.get("healthy"):
        assert found.healthy, f"{what}: the cell shows this as drawn"
    first = {name for group in said[:3] for name in group}
    if truth := {case.fault(n).id for n in case.many("truth")}:
        assert truth & first, f"{what}: {truth} is not among the first three"
    missing = {case.fault(n).id for n in case.many("candidates")} - {n for g in said for n in g}
    assert not missing, f"{what}: {missing} is no suspect"
    shares, best = _shares(found), max((c.probability for c in found.culprits), default=0.0)
    for name in (case.fault(n).id for n in case.many("excluded")):
        assert shares.get(name, 0.0) <= RULED_OUT * best, f"{what}: {name} is ruled out"
    if words := [w for s in case.many("splits") for w in s.get("do", [])]:
        assert found.next is not None, f"{what}: nothing is proposed"
        lost = [w for w in words if w.casefold() not in found.next.do.casefold()]
        assert not lost, f"{what}: `{found.next.do}` does not say {lost}"


def check_split(case: Case, split: Mapping[str, Any], before: Found, after: Found) -> None:
    """One outcome of the splitting measurement rules out what it should, and nothing else.

    Args:
        case: the case.
        split: an entry of `splits`.
        before: the answer to the observations alone.
        after: the answer to these and the sentence of the split.
    """
    share_before, share = _shares(before), _shares(after)
    for name in (case.fault(n).id for n in split["left"]):
        assert share.get(name, 0.0) > 0.0, f"{case.name}: {name} is lost"
        assert share[name] >= share_before.get(name, 0.0), f"{case.name}: {name} is less likely"
    for name in (case.fault(n).id for n in split["out"]):
        assert share.get(name, 0.0) <= 0.1 * share_before.get(name, 0.0), (
            f"{case.name}: {name} still there"
        )


def _shares(found: Found) -> dict[str, float]:
    """Return each suspect with the probability of its group."""
    return {f.id: c.probability for c in found.culprits for f in c.faults}
