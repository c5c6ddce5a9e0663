"""Suspects in order, with the reason; what contradicts what."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations

import numpy as np

from ringout.circuit.network import FloatArray
from ringout.find.evidence import Evidence
from ringout.find.model import RAN, Culprit, Observation
from ringout.find.suspects import Suspects, assembled_wrong
from ringout.find.tell import look_words, seen_words

SHOWN = 0.002  # suspects below this share are not worth naming
MOST_SHOWN = 12


def posterior(evidence: Evidence, suspects: Suspects) -> FloatArray:
    """Return (C,) the share of each suspect; the healthy cell is none and has 0."""
    with np.errstate(divide="ignore"):
        score = np.log(np.maximum(evidence.weight, 1e-12)).sum(axis=0) + np.log(suspects.prior)
    score[0] = -np.inf
    if not np.isfinite(score).any():
        return np.zeros(len(score))
    share: FloatArray = np.exp(score - score.max())
    share /= share.sum()
    return share


def culprits(
    observations: Sequence[Observation],
    evidence: Evidence,
    suspects: Suspects,
    share: FloatArray,
) -> tuple[Culprit, ...]:
    """Return the suspects worth naming, most probable first."""
    order = sorted(range(1, len(share)), key=lambda k: (-share[k], suspects.members[k][0].id))
    out: list[Culprit] = []
    for k in order[:MOST_SHOWN]:
        if share[k] < SHOWN and out:
            break
        against = tuple(
            o.text
            for row, o in enumerate(observations)
            if not _explains(o, evidence, suspects, row, k)
        )
        out.append(
            Culprit(
                suspects.members[k],
                float(share[k]),
                _why(observations, evidence, suspects, k),
                against,
            )
        )
    return tuple(out)


def _explains(o: Observation, evidence: Evidence, suspects: Suspects, row: int, k: int) -> bool:
    """Return whether a suspect explains an observation; no wrong assembly explains that it ran."""
    if o.kind == RAN and all(assembled_wrong(f) for f in suspects.members[k]):
        return False
    return bool(evidence.agrees[row, k])


def _why(
    observations: Sequence[Observation], evidence: Evidence, suspects: Suspects, k: int
) -> str:
    """Return one sentence: the observation that speaks most for a suspect, with figures."""
    telling = [
        (float(evidence.weight[row, k] / max(evidence.weight[row, 0], 1e-6)), -row)
        for row, o in enumerate(observations)
        if evidence.agrees[row, k] and o.look is not None
    ]
    explained = sum(_explains(o, evidence, suspects, row, k) for row, o in enumerate(observations))
    total = f"it explains {explained} of {len(observations)}" if observations else ""
    text = suspects.members[k][0].text.rstrip(".")
    if not telling:
        return f"{text}: {total}."
    row = -max(telling)[1]
    o = observations[row]
    assert o.look is not None
    shows = seen_words(o.look, evidence.low[row, k], evidence.typ[row, k], evidence.high[row, k])
    whole = seen_words(o.look, evidence.low[row, 0], evidence.typ[row, 0], evidence.high[row, 0])
    return f"{text}: then {look_words(o.look)} is {shows} (healthy {whole}); {total}."


def contradictions(
    observations: Sequence[Observation], evidence: Evidence, suspects: Suspects
) -> tuple[str, ...]:
    """Return sentences on observations that no suspect can give, alone or together."""
    out = []
    possible = [row for row in range(len(observations)) if evidence.agrees[row].any()]
    for row, o in enumerate(observations):
        if row in possible:
            continue
        if o.look is not None:
            whole = seen_words(
                o.look, evidence.low[row, 0], evidence.typ[row, 0], evidence.high[row, 0]
            )
            out.append(
                f"`{o.text}`: no single fault gives this; a healthy cell shows {whole}. "
                f"Measure it again."
            )
        else:
            out.append(f"`{o.text}`: no fault of the model agrees with this.")
    if out or evidence.agrees.all(axis=0).any():
        return tuple(out)
    clashes = [
        (first, second)
        for first, second in combinations(possible, 2)
        if not (evidence.agrees[first] & evidence.agrees[second]).any()
    ]
    for first, second in clashes:
        out.append(
            f"`{observations[first].text}` and `{observations[second].text}` exclude each other: "
            f"no single fault shows both."
        )
    if not out:
        best = int(np.argmax(evidence.agrees[:, 1:].sum(axis=0))) + 1
        odd = [observations[r].text for r in possible if not evidence.agrees[r, best]]
        out.append(
            f"No single fault explains all {len(observations)} observations; the nearest "
            f"({suspects.members[best][0].id}) leaves {', '.join(f'`{t}`' for t in odd)} open."
        )
    return tuple(out)


def with_groups(
    found: Sequence[Culprit], suspects: Suspects, alike: Sequence[Sequence[int]]
) -> tuple[Culprit, ...]:
    """Return culprits that name the other suspects no look tells from them."""
    ids = [[suspects.members[k][0].id for k in group] for group in alike if len(group) > 1]
    mates = {name: [m for m in group if m != name] for group in ids for name in group}
    return tuple(replace(c, undecided=tuple(mates.get(c.faults[0].id, ()))) for c in found)
