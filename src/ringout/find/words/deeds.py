"""What was done: `replaced B1, no change`, `swapping W11 and W12 moved the fault`, proofs."""

from __future__ import annotations

import re

from ringout.find.model import PROVEN, SWAPPED, TRIED, Observation
from ringout.find.words.names import Names
from ringout.find.words.sentence import Sentence, Token, UnclearError, spread, word_set
from ringout.find.words.standing import SAID_WHEN, Standing, read_when

_I = re.IGNORECASE
SWAP = "swapped"
CYCLE = "cycled power"
# The tool's word for a deed, and how people say it; some only at the head of a sentence, where
# nothing else can be meant.
_DEEDS = (
    (CYCLE, re.compile(
        r"\b(?:power[- ]cycl(?:ed|ing)|cycl(?:ed|ing)\s+(?:the\s+)?power|restart(?:ed|ing)"
        r"|reboot(?:ed|ing)|(?:switch|turn)(?:ed|ing)\s+(?:it\s+)?off\s+and\s+on(?:\s+again)?)"
        r"(?![\w.:-])", _I)),
    (SWAP, re.compile(r"\b(?:swapp(?:ed|ing)|exchang(?:ed|ing)|swaps)(?![\w.:-])", _I)),
    ("replaced", re.compile(r"\breplac(?:ed|ing|ement\s+of)(?![\w.:-])"
                            r"|^\s*(?:a\s+)?new(?=\s)|^\s*chang(?:ed|ing)(?=\s)", _I)),
    ("tightened", re.compile(r"\b(?:re)?tighten(?:ed|ing)(?![\w.:-])", _I)),
    ("reseated", re.compile(r"\b(?:reseat(?:ed|ing)|re-?plugg(?:ed|ing)"
                            r"|unplugg(?:ed|ing)\s+and\s+re-?plugg(?:ed|ing))(?![\w.:-])", _I)),
    ("cleaned", re.compile(r"\bclean(?:ed|ing)(?![\w.:-])", _I)),
    ("wiggled", re.compile(r"\b(?:wiggl(?:ed|ing)|flex(?:ed|ing)|bend(?:ed|ing)|shak(?:en|ing))"
                           r"(?![\w.:-])", _I)),
    ("pressed on", re.compile(r"^\s*(?:press|push)(?:ed|ing)\s+on(?=\s)", _I)),
    ("unplugged", re.compile(r"^\s*unplugg(?:ed|ing)(?=\s)", _I)),
    ("lifted", re.compile(r"^\s*lift(?:ed|ing)(?=\s)", _I)),
    ("reset", re.compile(r"^\s*reset(?:ting)?(?=\s)", _I)),
)  # fmt: skip
_OUTCOMES = (
    ("no change", re.compile(
        r"\b(?:no\s+(?:change|difference|effect|success|help|improvement|luck)"
        r"|(?:the\s+)?same(?:\s+(?:fault|problem|as\s+before))?"
        r"|nothing\s+change[ds]|(?:did|does)\s*(?:not|n't)\s+(?:help|change\s+(?:anything|it)"
        r"|cure(?:\s+it)?|work)|without\s+(?:effect|success|change)"
        r"|still\s+(?:dead|there|the\s+same|off|on|faulty|not\s+working|bad|no\s+good)"
        r"|not\s+cured|unchanged)\b", _I)),
    ("stayed", re.compile(
        r"\b(?:(?:the\s+)?(?:fault|problem|it)\s+)?(?:(?:has\s+)?stay(?:ed|s)"
        r"(?:\s+(?:there|where\s+it\s+was|put|with\s+the\s+place))?"
        r"|(?:did|does)\s*(?:not|n't)\s+(?:move|follow)|remain(?:ed|s))\b", _I)),
    ("moved", re.compile(
        r"\b(?:(?:the\s+)?(?:fault|problem|it)\s+)?(?:moved|moves|follow(?:ed|s)|went|goes|wander(?:ed|s))"
        r"(?:\s+(?:with|after)\s+(?:it|them))?(?:\s+(?:it|them))?(?:\s+too)?"
        r"(?:\s+the\s+(?:fault|problem))?\b", _I)),
    ("cured", re.compile(
        r"\b(?:(?:it\s+)?(?:cured|cures|fixed|fixes|helped|helps|solved|solves|repaired)"
        r"(?:\s+(?:it|the\s+(?:fault|problem)))?|(?:works|ok|okay|good|fine)(?:\s+(?:now|again))?"
        r"|(?:the\s+)?(?:fault|problem)\s+(?:is\s+)?gone|brings\s+it\s+back|brought\s+it\s+back"
        r"|makes?\s+it\s+(?:work|come\s+(?:on|back)|flicker|change)|changes\s+it)\b", _I)),
)  # fmt: skip
_FOR_A_WHILE = re.compile(
    r"\bfor\s+(?:a\s+while|(?:a|some|an|a\s+few|\d+)\s+(?:time|min(?:ute)?s?|hours?|days?|weeks?)"
    r"|days|weeks|hours|minutes)\b",
    _I,
)
_PROOFS = (
    re.compile(
        r"\b(?:is\s+|are\s+|was\s+)?(?:(?:rung|rings|ring)\s+out|tested|tests|checked|measured)"
        r"(?:\s+(?:as|is|are))?\s+(?:good|ok|okay|fine)\b",
        _I,
    ),
    re.compile(
        r"\b(?:works?|worked|is\s+(?:good|ok|fine))\s+(?:elsewhere|on\s+the\s+bench"
        r"|(?:in|on|at)\s+(?:another|a\s+different)\s+(?:place|channel|input|socket|machine|cell))\b",
        _I,
    ),
    re.compile(
        r"\b(?:another|(?:an)?other|a\s+known(?:\s+good)?|known\s+good|a\s+spare|spare|a\s+test)\s+"
        r"(?:load|lamp|relay|valve|sensor|device|input|contact|switch|button)\s+works?\s+"
        r"(?:on|with|at|over|via|through)\b",
        _I,
    ),
    re.compile(r"\b(?:is\s+|are\s+)?proven(?:\s+good)?\b|\b(?:is|are)\s+(?:good|ok|fine)\b", _I),
)
_FILLERS = word_set(
    "the a an with and for by of at it but fault problem new one another spare cord cords cable "
    "cables sensor sensors plug device both i we have has been after , - : = is was were are "
    "terminal screw screws core wire wires to on did as well too also then all again against "
    "together input channel"
)
_SAID_WHEN = {**SAID_WHEN, "sometimes": "for a while"}
_TOUCHED = ("wiggled", "pressed on")
_NAMED = ("item", "cable", "core", "socket", "terminal", "channel", "load")


def is_deed(sentence: Sentence) -> bool:
    """Return whether a sentence tells what was done."""
    return _deed(sentence) is not None


def is_proof(sentence: Sentence) -> bool:
    """Return whether a sentence tells what was shown good."""
    return any(p.search(sentence.rest) for p in _PROOFS)


def _deed(sentence: Sentence) -> tuple[str, re.Match[str]] | None:
    for deed, pattern in _DEEDS:
        m = pattern.search(sentence.rest)
        if m is not None:
            return deed, m
    return None


def read_deed(sentence: Sentence, names: Names, text: str) -> Observation:
    """Return what was done and what came of it.

    Raises:
        UnclearError: it does not say to what, or what came of it.
    """
    found = _deed(sentence)
    assert found is not None  # asked before
    deed, m = found
    sentence.take(*m.span())
    sentence.piece(deed)
    for_a_while = _FOR_A_WHILE.search(sentence.rest)
    if for_a_while is not None:
        sentence.take(*for_a_while.span())
    when = read_when(sentence, names)
    if for_a_while is not None and when == "always":
        when = "sometimes"
    outcome = _outcome(sentence)
    if deed in _TOUCHED and outcome == "cured" and when == "always":
        when = "moving"
    about = _about(sentence, names)
    if deed == CYCLE:
        if about:
            raise UnclearError(
                "N316", f"`{about[0]}` does not belong to cycling the power", None, ""
            )
    elif not about:
        what = "which two were swapped?" if deed == SWAP else f"what was {deed}?"
        example = names.near("W1", "cable", "item") or "W1"
        second = f" and {_other(example, names)}" if deed == SWAP else ""
        then = "moved" if deed == SWAP else "no change"
        fix = f"name {'both' if deed == SWAP else 'it'}, as in `{deed} {example}{second}: {then}`"
        raise UnclearError("N317", what, None, fix)
    if not outcome:
        every = "moved, stayed or cured" if deed == SWAP else "cured or no change"
        then = "moved" if deed == SWAP else "no change"
        done = _done(deed, about)
        raise UnclearError(
            "N317", f"{done}: what came of it?", None, f"say {every}, as in `{done}: {then}`"
        )
    if deed == SWAP:
        _check_swap(about, names)
        outcome = {"no change": "stayed"}.get(outcome, outcome)
    elif outcome in ("moved", "stayed"):
        outcome = "no change"
    said = "" if when == "always" else f" {_SAID_WHEN[when]}"
    return Observation(
        text=text,
        kind=SWAPPED if deed == SWAP else TRIED,
        understood=f"{_done(deed, about)}: {outcome}{said}",
        about=about,
        outcome=outcome,
        when=when,
    )


def _done(deed: str, about: tuple[str, ...]) -> str:
    return f"{deed} {' and '.join(about)}".strip()


def _other(name: str, names: Names) -> str:
    return next((n for n in (*names.cell.cables, *names.cell.items) if n != name), "W2")


def _outcome(sentence: Sentence) -> str:
    for outcome, pattern in _OUTCOMES:
        m = pattern.search(sentence.rest)
        if m is not None:
            sentence.take(*m.span())
            sentence.piece(outcome)
            return outcome
    return ""


def _about(sentence: Sentence, names: Names) -> tuple[str, ...]:
    out: dict[str, None] = {}
    strangers: list[Token] = []
    for token in sentence.tokens():
        found = names.find(token.text, *_NAMED)
        if found is None and token.small not in _FILLERS:
            signal = names.find(token.text, "signal")
            if signal is None:
                strangers.append(token)
                continue
            found = ("channel", names.cell.signals[signal[1]].channel_name)
        if found is not None:
            name = found[1]
            if found[0] == "terminal":
                name = str(names.terminals[name])
            out[name] = None
            sentence.piece(name)
    if strangers:
        place = spread(strangers)
        assert place is not None  # there is one at least
        raise names.unknown(strangers[0].text[:40], (strangers[0].start, strangers[0].end))
    return tuple(out)


def _check_swap(about: tuple[str, ...], names: Names) -> None:
    sorts = {_sort(n, names) for n in about}
    if len(about) != 2:
        raise UnclearError(
            "N317",
            f"a swap has two sides; {about[0] if len(about) == 1 else len(about)} named",
            None,
            f"name both, as in `swapped {about[0]} and {_other(about[0], names)}: moved`",
        )
    if len(sorts) > 1:
        raise UnclearError(
            "N316",
            f"{about[0]} and {about[1]} are not of one kind",
            None,
            "two devices, two cables or two channels can be swapped",
        )


def _sort(name: str, names: Names) -> str:
    found = names.find(name, *_NAMED)
    kind = found[0] if found is not None else ""
    return {"socket": "channel", "terminal": "core"}.get(kind, kind)


def read_proof(sentence: Sentence, names: Names, standing: Standing, text: str) -> Observation:
    """Return what was shown good.

    Raises:
        UnclearError: it does not say what.
    """
    for pattern in _PROOFS:
        m = pattern.search(sentence.rest)
        if m is not None:
            sentence.take(*m.span())
    about = _about(sentence, names)
    if not about:
        raise UnclearError("N317", "what is good?", None, "name it, as in `W1 rung out good`")
    if standing.said or standing.lifts or standing.power or standing.meter:
        raise UnclearError(
            "N316",
            f"how the cell stood does not belong to a proof of {about[0]}",
            None,
            f"say `{about[0]} proven good`, or tell the reading itself",
        )
    said = f" {SAID_WHEN[standing.when]}" if standing.when != "always" else ""
    return Observation(
        text=text,
        kind=PROVEN,
        understood=f"{' and '.join(about)} proven good{said}",
        about=about,
        outcome="good",
        when=standing.when,
    )
