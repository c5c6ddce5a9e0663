"""A pack of 96 channels: whole, within its time and memory, nothing cut off."""

from __future__ import annotations

import os
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import pypdfium2 as pdfium
import pytest

from ringout.report.pack import Printed
from tests.bench.cells import generated_cell
from tests.unit.report.test_pack_pdf import not_printed, packed, pages_of, wrongs

ROOT = Path(__file__).resolve().parents[3]
MOST_TIMES = 40  # of the time of `prove`
MOST_MB = 1000
MAKE = """
import re, resource, sys
from pathlib import Path
from ringout import run
from ringout.report.pack import build_pack, pack_pdf
from ringout.tables.labels import label_size
loaded, judgement = run.prove(sys.argv[1])
pack = build_pack(loaded.cell, judgement)
out = pack_pdf(pack, paper="a4", size=label_size("plain-a4-48"))
open(sys.argv[2], "wb").write(out.content)
# what getrusage tells begins with the size of the process that started this one
own = Path("/proc/self/status")
kib = (
    float(re.search(r"VmHWM:\\s+(\\d+) kB", own.read_text())[1]) if own.exists()
    else resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
)
print(kib / 1024)
"""
PROVE = "import sys; from ringout import run; run.prove(sys.argv[1])"


def timed(code, *words):
    start = time.perf_counter()
    env = {**os.environ, "PYTHONPATH": str(ROOT / "src"), "OPENBLAS_NUM_THREADS": "1"}
    done = subprocess.run(
        [sys.executable, "-c", code, *words], capture_output=True, text=True, check=True, env=env
    )
    return time.perf_counter() - start, done.stdout


@pytest.mark.slow
def test_ninety_six_channels(tmp_path):
    cell, out = tmp_path / "c.yaml", tmp_path / "c.pdf"
    cell.write_text(generated_cell(96), encoding="utf-8")
    prove_s, _ = timed(PROVE, str(cell))
    pack_s, told = timed(MAKE, str(cell), str(out))
    print(f"prove {prove_s:.1f} s, pack {pack_s:.1f} s, {told.strip()} MB")
    assert pack_s < MOST_TIMES * prove_s
    assert float(told) < MOST_MB
    pages = pages_of(out.read_bytes())
    with closing(pdfium.PdfDocument(out.read_bytes())) as pdf:
        marks = {b.get_title() for b in pdf.get_toc()}
    for number in range(1, 49):
        for half in "ab":
            assert f"s{number}{half}: works" in marks
    assert len(pages) > 96
    assert not wrongs(Printed(out.read_bytes(), archive=True))
    pack, printed = packed(cell, "letter")
    assert not wrongs(printed)
    assert not not_printed(pack, printed)
