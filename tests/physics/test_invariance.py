"""Order of lines, names and spare cables do not matter; longer copper only hurts."""

from __future__ import annotations

import random
import re
from functools import cache

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.contract.house import ROOT
from tests.physics.small_cells import Bench, Verdict

CORRECTED = (ROOT / "examples" / "caddy-lidder" / "corrected.yaml").read_text(encoding="utf-8")
SECTIONS = ("items", "cables", "joins", "signals")
NAMES = re.compile(r"\b(T1|F1|K1|K2|S[1-4]|B[1-7]|R[12]|Y1|Q[12]|K5|P1)\b(?=[-:. ,}\n])")
SAME_V = 2e-6  # two solutions of one circuit in another order of nodes; each is balanced to 1 nA

# each example solves a whole cell: few are enough
few = settings(
    max_examples=6, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


def sections(text: str) -> list[tuple[str, list[str]]]:
    """Return (heading, lines) of a cell file; lines keep their indentation."""
    out: list[tuple[str, list[str]]] = []
    for line in text.split("\n"):
        if line and not line.startswith((" ", "#")):
            out.append((line, []))
        elif out and line.strip() and not line.strip().startswith("#"):
            out[-1][1].append(line)
    return out


def shuffled(text: str, seed: int) -> str:
    chosen = random.Random(seed)
    out = []
    for heading, lines in sections(text):
        mixed = list(lines)
        if heading.rstrip(":") in SECTIONS:
            chosen.shuffle(mixed)
        out += [heading, *mixed]
    return "\n".join(out) + "\n"


def figures(verdict: Verdict, *, digits: int = 5) -> dict[str, tuple[object, ...]]:
    out: dict[str, tuple[object, ...]] = {}
    for s in verdict.judgement.signals:
        levels = [
            None
            if x is None
            else tuple(round(v, digits) + 0.0 for v in (x.v_low, x.v_typ, x.v_high, x.margin_v))
            for x in (s.on, s.off)
        ]
        out[s.name] = (s.verdict, *levels)
    return out


def close(a: Verdict, b: Verdict) -> None:
    for one, two in zip(
        sorted(a.judgement.signals, key=lambda s: s.name),
        sorted(b.judgement.signals, key=lambda s: s.name),
        strict=True,
    ):
        assert (one.name, one.verdict) == (two.name, two.verdict)
        for x, y in ((one.on, two.on), (one.off, two.off)):
            assert (x is None) == (y is None)
            if x is not None and y is not None:
                got = (y.v_low, y.v_typ, y.v_high, y.margin_v)
                assert got == pytest.approx((x.v_low, x.v_typ, x.v_high, x.margin_v), abs=1e-5)
                assert x.proven == y.proven


def told(verdict: Verdict) -> list[tuple[str, str]]:
    return sorted((f.code, f.place) for f in verdict.judgement.findings)


FIRST = (ROOT / "examples" / "caddy-lidder" / "first-drawing.yaml").read_text(encoding="utf-8")


@cache
def as_is(folder: str, name: str) -> Verdict:
    from pathlib import Path

    path = Path(folder)
    path.mkdir(exist_ok=True)
    return Bench(path).text({"corrected": CORRECTED, "first": FIRST}[name])


@pytest.mark.parametrize("name", ["corrected", pytest.param("first", marks=pytest.mark.slow)])
@few
@given(seed=st.integers(0, 10**6))
def test_the_order_of_lines_does_not_matter(bench, tmp_path_factory, name, seed):
    folder = str(tmp_path_factory.getbasetemp() / "as-is")
    text = {"corrected": CORRECTED, "first": FIRST}[name]
    plain, mixed = as_is(folder, name), bench.text(shuffled(text, seed))
    assert told(mixed) == told(plain)
    close(plain, mixed)


@few
@given(data=st.data())
def test_names_of_items_do_not_matter(bench, tmp_path_factory, data):
    folder = str(tmp_path_factory.getbasetemp() / "as-is")
    old = sorted({m.group(1) for m in NAMES.finditer(CORRECTED)})
    numbers = data.draw(
        st.lists(st.integers(10, 999), min_size=len(old), max_size=len(old), unique=True)
    )
    letters = data.draw(st.lists(st.sampled_from("ABCGHJM"), min_size=len(old), max_size=len(old)))
    new = {o: f"{l}{n}" for o, l, n in zip(old, letters, numbers, strict=True)}
    renamed = NAMES.sub(lambda m: new[m.group(1)], CORRECTED)
    assert renamed != CORRECTED
    close(as_is(folder, "corrected"), bench.text(renamed))


@few
@given(
    part=st.sampled_from(["cable-4x0.34", "cable-2x1.0", "cordset-m12-4", "wire-0.75"]),
    length_m=st.integers(1, 200),
    position=st.integers(0, 14),
)
def test_a_spare_cable_does_not_matter(bench, tmp_path_factory, part, length_m, position):
    folder = str(tmp_path_factory.getbasetemp() / "as-is")
    lines = CORRECTED.split("\n")
    at = lines.index("cables:") + 1 + position
    lines.insert(at, f"  W99: {{part: {part}, length: {length_m} m}}")
    verdict = bench.text("\n".join(lines))
    plain = as_is(folder, "corrected")
    assert told(verdict) == told(plain)
    close(plain, verdict)


LENGTHS = re.findall(r"(W\d+): \{part: (\S+), length: (\S+) m\}", CORRECTED)


@few
@given(
    which=st.sampled_from([name for name, part, _ in LENGTHS]),
    factor=st.floats(1.01, 8.0, allow_nan=False),
)
def test_a_longer_cable_never_helps_an_input_to_come_on(bench, tmp_path_factory, which, factor):
    folder = str(tmp_path_factory.getbasetemp() / "as-is")
    plain = as_is(folder, "corrected")
    part, length = next((p, l) for n, p, l in LENGTHS if n == which)
    old = f"{which}: {{part: {part}, length: {length} m}}"
    assert CORRECTED.count(old) == 1
    new = f"{which}: {{part: {part}, length: {float(length) * factor:.2f} m}}"
    verdict = bench.text(CORRECTED.replace(old, new))
    before = {s.name: s for s in plain.judgement.signals}
    for signal in verdict.judgement.signals:
        if signal.kind == "input" and signal.on is not None:
            assert signal.on.margin_v <= before[signal.name].on.margin_v + 1e-4, signal.name


lengths = st.floats(0.5, 80.0, allow_nan=False).map(lambda x: round(x, 1))


@settings(
    max_examples=15, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(short=lengths, more=lengths)
def test_a_longer_sensor_cable_lowers_the_on_level_by_its_own_copper(bench, short, more):
    # iec-60228 class 5, 0.34 mm2: about 57 Ω/km at 20 °C; 12.5 mA at most in the plus core
    def on_v(length_m):
        verdict = bench.cell(
            "K1: io-block-8-inputs\nB1: inductive-pnp-no",
            "P K1-XS:1\nM K1-XS:2\nB1 W1 K1-X1",
            "seen: {channel: K1.I1, on: B1 target}",
            cables=f"W1: {{part: cordset-m12-4, length: {length_m} m}}",
        )
        return verdict.signal("seen").on.v_low

    near, far = on_v(short), on_v(short + more)
    assert far < near
    # plus core carries the sensor's 10 mA and the input's 4 mA, the signal core the 4 mA
    lost = 57e-3 * 1.1 * more * (0.0145 + 0.0045)
    assert near - far == pytest.approx(lost, rel=0.25)
