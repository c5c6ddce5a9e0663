"""Cells of any size for measuring: blocks of eight inputs on a tree of feeds."""

from __future__ import annotations

BLOCK_CHANNELS = 8
BRANCHES = 8


def generated_cell(channels: int) -> str:
    """Return the text of a clean cell with this many input channels (a multiple of 8).

    Feeds branch from an eight-way protection and run from block to block; each socket carries
    a splitter with a three-wire and a two-wire sensor.
    """
    blocks = channels // BLOCK_CHANNELS
    settings = ", ".join(["2 A"] * BRANCHES)
    items = [
        "  T1: supply-24v-20a",
        f"  F1: {{part: electronic-breaker-8ch, set: [{settings}]}}",
    ]
    cables = ["  W0: {part: cable-2x1.5, length: 0.5 m}"]
    joins = ["  - T1:+  W0:BN  F1:in+", "  - T1:-  W0:BU  F1:in-"]
    signals: list[str] = []
    last: dict[int, str] = {}
    for block in range(1, blocks + 1):
        branch = (block - 1) % BRANCHES + 1
        name = f"K{block}"
        items.append(f"  {name}: io-block-8-inputs")
        cables.append(f"  WF{block}: {{part: cable-2x1.0, length: 3 m}}")
        before = last.get(branch)
        plus = f"{before}-XS:1" if before else f"F1:out{branch}"
        minus = f"{before}-XS:2" if before else f"F1:m{branch}"
        joins.append(f"  - {plus}  WF{block}:BN  {name}-XS:1")
        joins.append(f"  - {minus}  WF{block}:BU  {name}-XS:2")
        last[branch] = name
        for socket in range(1, 5):
            number = (block - 1) * 4 + socket
            items += [
                f"  Y{number}: m12-y-splitter",
                f"  B{number}A: inductive-pnp-no",
                f"  B{number}B: reed-2wire-led",
            ]
            cables.append(f"  W{number}A: {{part: cordset-m12-4, length: 2 m}}")
            cables.append(f"  W{number}: {{part: cordset-m12-4, length: 5 m}}")
            joins += [
                f"  - B{number}A  W{number}A  Y{number}-A",
                f"  - B{number}B  Y{number}-B",
                f"  - Y{number}-T  W{number}  {name}-X{socket}",
            ]
            signals += [
                f"  s{number}a: {{channel: {name}.I{2 * socket - 1}, on: B{number}A target}}",
                f"  s{number}b: {{channel: {name}.I{2 * socket}, on: B{number}B target}}",
            ]
    return "\n".join(
        [
            f"cell: Generated cell of {channels} channels",
            "revision: A",
            "ambient: 10..40 °C",
            "items:",
            *items,
            "cables:",
            *cables,
            "joins:",
            *joins,
            "signals:",
            *signals,
            "",
        ]
    )
