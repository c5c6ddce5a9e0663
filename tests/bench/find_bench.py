"""Quality of diagnosis: hidden single faults of the demo cell, noisy readings, wrong observations.

For each sampled fault the search begins with the first thing a person would notice (a signal or a
load that is not as it should be) and takes every measurement it proposes, until one culprit has
95 % or nothing more splits. Readings carry the error of a hand meter (0.5 % + 2 digits); one
observation in twenty is wrong.
"""

from __future__ import annotations

import math
import random
import sys
import time
from dataclasses import dataclass

from ringout import run
from ringout.base import Interval
from ringout.cell.ask import resolve_state
from ringout.circuit.faults import Fault
from ringout.find import Finder, Observation
from ringout.findings.effects import FaultEffects, effects_of, lay_out
from ringout.findings.looks import HEALTHY_CELL, Look

CELL = "examples/caddy-lidder/corrected.yaml"
SAMPLE = 40
MOST_LOOKS = 10
WRONG_SHARE = 0.05
SEED = 20


@dataclass
class Tally:
    """What was counted."""

    tried: int = 0
    first: int = 0
    third: int = 0
    group: int = 0
    looks: int = 0
    seconds: float = 0.0
    start_bits: float = 0.0
    gained_bits: float = 0.0


def first_symptom(finder: Finder, row: FaultEffects) -> Observation | None:
    """Return what a person notices first, or None for a latent fault."""
    for effect in row.effects:
        if effect.kind not in ("level", "moves"):
            continue
        state, problems = resolve_state(
            finder.cell, "" if effect.state == "at rest" else effect.state
        )
        if problems:
            continue
        named = "level" if effect.kind == "level" else "shows"
        look = Look(named, what=effect.what, state=tuple(sorted(state.items())))
        seen = finder.witness.predictor.see(look, [HEALTHY_CELL, row.fault])
        if seen.typ[0] == seen.typ[1]:
            continue
        return as_told(look, float(seen.typ[1]), random.Random(0), "first")
    return None


def as_told(look: Look, value: float, chance: random.Random, text: str) -> Observation:
    """Return an observation of a true value, as a meter or an eye gives it."""
    if not look.by_meter:
        word = value if look.kind != "level" or value != 1.0 else chance.choice((0.0, 2.0))
        return Observation(text, "word", text, look, word, word)
    if math.isinf(value):
        return Observation(text, "reading", text, look, 2e6, math.inf)
    ohms = look.kind == "ohms"
    digit = 0.1 if ohms else 0.01
    error = abs(value) * (0.009 if ohms else 0.005) + 2 * digit
    shown = round((value + chance.uniform(-error, error)) / digit) * digit
    span = Interval(shown - error - digit / 2, shown, shown + error + digit / 2)
    return Observation(text, "reading", text, look, span.low, span.high)


def hunt(finder: Finder, truth: Fault, first: Observation, chance: random.Random, t: Tally) -> None:
    """Follow the search from the first symptom and count how it ends."""
    observations = [first]
    begin = time.perf_counter()
    found = finder.find(observations)
    t.start_bits += found.bits
    looks = 0
    while found.next is not None and looks < MOST_LOOKS:
        look = found.next.look
        shown = truth
        if chance.random() < WRONG_SHARE:
            shown = chance.choice([c.faults[0] for c in found.culprits])
        value = float(finder.witness.predictor.see(look, [shown], spread=False).typ[0])
        looks += 1
        observations.append(as_told(look, value, chance, f"look {looks}"))
        found = finder.find(observations)
    t.seconds += time.perf_counter() - begin
    t.tried += 1
    t.looks += looks
    t.gained_bits += found.bits
    ranks = [n for n, c in enumerate(found.culprits) if truth.delta in {f.delta for f in c.faults}]
    t.first += ranks[:1] == [0]
    group = {f.id for c in found.culprits[:1] for f in c.faults}
    group |= {u for c in found.culprits[:1] for u in c.undecided}
    t.group += truth.id in group
    t.third += bool(ranks) and ranks[0] < 3


def entropy(shares: list[float]) -> float:
    """Return the bits left among suspects."""
    return -sum(p * math.log2(p) for p in shares if p > 0.0)


def main(sample: int = SAMPLE) -> None:
    """Print the quality of diagnosis."""
    cell = run.load(CELL).cell
    assert cell is not None
    finder = Finder(cell)
    laid = lay_out(cell)
    rows = effects_of(laid, finder.singles.first[1:]).rows
    cases = [(row, first_symptom(finder, row)) for row in rows if not row.latent]
    told = [(row, o) for row, o in cases if o is not None]
    chance = random.Random(SEED)  # a seeded sample, nothing secret
    chosen = chance.sample(told, min(sample, len(told)))
    tally = Tally()
    for number, (row, o) in enumerate(chosen):
        hunt(finder, row.fault, o, chance, tally)
        print(f"\r  hunting {number + 1}/{len(chosen)}", end="", file=sys.stderr, flush=True)
    print(file=sys.stderr)
    n = tally.tried
    prior = [p / sum(finder.singles.prior[1:]) for p in finder.singles.prior[1:]]
    per_look = (tally.start_bits - tally.gained_bits) / max(tally.looks, 1)
    bound = tally.start_bits / n / math.log2(3)
    print(f"diagnosis of {n} of {len(told)} visible single faults of the demo cell, seed {SEED}")
    print(f"  meter 0.5 % + 2 digits, {WRONG_SHARE:.0%} of observations wrong")
    print(f"  true culprit first           {tally.first / n:6.1%}")
    print(f"  true culprit in the first group that no look splits {tally.group / n:6.1%}")
    print(f"  true culprit among the first three {tally.third / n:6.1%}")
    print(f"  measurements after the symptom     {tally.looks / n:6.2f} on average")
    print(
        f"  bits: {entropy(prior):.2f} before anything, {tally.start_bits / n:.2f} after the first"
    )
    print(f"        symptom; {per_look:.2f} gained by a look; {tally.gained_bits / n:.2f} left")
    print(f"  entropy bound, looks of three outcomes: {bound:.2f} measurements")
    print(f"  {tally.seconds / max(tally.looks + n, 1):.2f} s an answer")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else SAMPLE)
