"""Speed of `prove`, as ratios measured side by side in one run.

Run it with `make bench`. Each pair is run in turns, so that a machine that slows down slows
both; the median of the ratios is printed with its spread, and beside it what is asked for.
"""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
sys.path.insert(0, str(HERE))

from cells import generated_cell  # noqa: E402  (the folder is no package)

CORRECTED = ROOT / "examples" / "caddy-lidder" / "corrected.yaml"


def seconds(command: list[str]) -> float:
    """Return the wall time of a whole process; its output is thrown away."""
    start = time.perf_counter()
    done = subprocess.run(command, capture_output=True, check=False)
    spent = time.perf_counter() - start
    if done.returncode not in (0, 1):
        told = done.stderr.decode()
        raise SystemExit(f"{' '.join(command)} ended with {done.returncode}:\n{told}")
    return spent


def ratios(first: Callable[[], float], second: Callable[[], float], runs: int) -> list[float]:
    """Return first/second, pair by pair, after one pair that is not counted."""
    out = []
    for run in range(runs + 1):
        a, b = first(), second()
        if run:
            out.append(a / b)
    return out


def show(what: str, found: list[float], asked: float, unit: str = "x") -> bool:
    """Print one row; return whether the median is within what is asked."""
    middle = statistics.median(found)
    good = middle <= asked
    print(
        f"{what:<64} {middle:6.3g}{unit}  ({min(found):.3g} to {max(found):.3g})  "
        f"asked: at most {asked:g}{unit}  {'ok' if good else 'TOO SLOW'}",
        flush=True,
    )
    return good


def main() -> int:
    """Measure and print; the exit code says whether every ratio is within what is asked."""
    python = sys.executable
    prove = [python, "-m", "ringout", "prove"]
    imports = [python, "-c", "import numpy, pydantic"]
    good = show(
        "prove the corrected demo cell / import numpy, pydantic",
        ratios(lambda: seconds([*prove, str(CORRECTED)]), lambda: seconds(imports), 9),
        6.0,
    )
    with tempfile.TemporaryDirectory() as folder:
        files = {}
        for channels in (24, 96, 384):
            files[channels] = Path(folder) / f"cell-{channels}.yaml"
            files[channels].write_text(generated_cell(channels), encoding="utf-8")
        small = [*prove, str(files[24])]
        for channels, asked in ((96, 8.0), (384, 30.0)):
            large = [*prove, str(files[channels])]
            good &= show(
                f"prove {channels} channels / prove 24 channels",
                ratios(lambda command=large: seconds(command), lambda: seconds(small), 3),
                asked,
            )
        print(f"one run: 24 channels {seconds(small):.2f} s, 384 channels {seconds(large):.2f} s")
    meter = [python, "-m", "ringout", "meter", str(CORRECTED), "--probe", "K1-X1:4", "K1-X1:3"]
    show(
        "meter on the corrected demo cell / import numpy, pydantic",
        ratios(lambda: seconds(meter), lambda: seconds(imports), 5),
        6.0,
    )
    print(
        "limit: the import of numpy and of pydantic is inside every prove; what is left is reading "
        "the file and its parts and solving some hundred states of some hundred nodes"
    )
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
