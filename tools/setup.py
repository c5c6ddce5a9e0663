#!/usr/bin/env python3
"""Set up the checkout and run its goals: the whole of the Makefile, also without make.

Needs nothing but Python 3.11 or newer. It makes `.venv` in the checkout, installs the pinned
packages and the checkout itself, and does so again only when a pin has changed.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
WINDOWS = os.name == "nt"
BIN = VENV / ("Scripts" if WINDOWS else "bin")
PYTHON = BIN / ("python.exe" if WINDOWS else "python")
RINGOUT = BIN / ("ringout.exe" if WINDOWS else "ringout")
EXAMPLE = Path("examples") / "caddy-lidder"
OLDEST = (3, 11)
USER, DEVELOPER = "requirements.txt", "requirements-dev.txt"
MISTAKES_FOUND = 1  # exit code of `ringout prove`; also Python's own when a program breaks down


def say(text: str) -> None:
    """Print a line now, before the next program prints its own."""
    print(text, flush=True)


def run(*words: str | Path, extra: dict[str, str] | None = None) -> int:
    """Run a program in the checkout and return its exit code."""
    command = [str(word) for word in words]
    environment = {**os.environ, **(extra or {})}
    return subprocess.run(command, cwd=ROOT, env=environment, check=False).returncode


def must(*words: str | Path) -> None:
    """Run a program in the checkout and stop with its exit code if it fails."""
    code = run(*words)
    if code:
        sys.exit(code)


def newer_python() -> str | None:
    """Return a Python on this machine that is new enough, when this one is not."""
    names = ["python3." + str(minor) for minor in range(20, OLDEST[1] - 1, -1)]
    probe = "import sys; sys.exit(sys.version_info < (3, 11))"
    for path in filter(None, map(shutil.which, names)):
        if subprocess.run([path, "-c", probe], capture_output=True, check=False).returncode == 0:
            return path
    return None


def fingerprint(pins: str) -> str:
    """Return a digest of all that a set-up depends on: pins, interpreter and place."""
    import tomllib  # not in the older versions that only look for a newer one

    digest = hashlib.sha256()
    for name in (USER, pins):
        digest.update((ROOT / name).read_bytes())
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    parts = (project["build-system"], project["project"], project["tool"]["setuptools"])
    digest.update(json.dumps(parts, sort_keys=True).encode())
    digest.update(f"{sys.version}\n{ROOT}".encode())
    return digest.hexdigest()


def make_venv() -> None:
    """Make `.venv` anew, or say in plain words what is missing."""
    say("setting up .venv (once; takes a minute)")
    if VENV.exists():
        shutil.rmtree(VENV)
    made = subprocess.run(
        [sys.executable, "-m", "venv", str(VENV)],
        capture_output=True,
        text=True,
        check=False,
    )
    if made.returncode:
        shutil.rmtree(VENV, ignore_errors=True)
        print(made.stdout, made.stderr, sep="", file=sys.stderr)
        sys.exit(
            "could not make .venv. On Debian and its relatives the venv module is a package of "
            "its own: install python3-venv, then run this again."
        )


def set_up(pins: str) -> None:
    """Bring `.venv` to the pinned state unless its stamp says that it is there already."""
    stamp = VENV / (pins + ".stamp")
    wanted = fingerprint(pins)
    if RINGOUT.exists() and stamp.exists() and stamp.read_text(encoding="ascii") == wanted:
        return
    user_stamp = VENV / (USER + ".stamp")
    place_kept = (
        PYTHON.exists()
        and user_stamp.exists()
        and user_stamp.read_text(encoding="ascii") == fingerprint(USER)
    )
    if not place_kept:
        make_venv()
    pip: list[str | Path] = [
        PYTHON,
        "-m",
        "pip",
        "install",
        "--quiet",
        "--disable-pip-version-check",
    ]
    pip += ["--no-warn-script-location"]
    say(f"installing what {pins} names")
    must(*pip, "-r", pins)
    must(*pip, "--no-deps", "--no-build-isolation", "--editable", ".")
    stamp.write_text(wanted, encoding="ascii")
    if not user_stamp.exists():
        user_stamp.write_text(fingerprint(USER), encoding="ascii")


def fetch_referee() -> None:
    """Try to get ngspice, the second solver of the tests; never stop because of it."""
    fetch("ngspice", "the second solver that the tests compare with")


def fetch_browser() -> None:
    """Try to get what the slow tests of the bench look at pages with; never stop because of it."""
    fetch("chromium", "the browser that the tests drive")
    npm = shutil.which("npm")
    if npm and not (ROOT / "node_modules" / "axe-core").exists():
        say("fetching what package.json names, for the tests")
        run(npm, "install", "--no-package-lock", "--no-audit", "--no-fund", "--loglevel=error")


def fetch(program: str, what: str) -> None:
    """Try to install a program by the system's own means."""
    if shutil.which(program):
        return
    apt = shutil.which("apt-get")
    if apt and not WINDOWS:
        say(f"fetching {program}, {what}")
        as_root = [] if os.geteuid() == 0 else ["sudo", "-n"]
        if not as_root or shutil.which("sudo"):
            quiet = {"DEBIAN_FRONTEND": "noninteractive"}
            install = [*as_root, apt, "install", "-y", "-qq", "--no-install-recommends", program]
            if run(*install, extra=quiet):
                run(*as_root, apt, "update", "-qq", extra=quiet)
                run(*install, extra=quiet)
    if not shutil.which(program):
        say(f"{program} is not here: the tests that need it are listed as skipped at the end")


def errors_in(cell: Path) -> int:
    """Return how many errors `ringout prove` reports; 0 also if it broke down instead."""
    command = [str(RINGOUT), "prove", "--json", str(cell)]
    answer = subprocess.run(command, cwd=ROOT, capture_output=True, check=False).stdout
    try:
        findings = json.loads(answer)["findings"]
    except (ValueError, KeyError):
        return 0
    return sum(finding["severity"] == "error" for finding in findings)


def demo() -> int:
    """Prove the demo cell as first drawn, mistakes and all, then as corrected."""
    set_up(USER)
    first, corrected = EXAMPLE / "first-drawing.yaml", EXAMPLE / "corrected.yaml"
    say(f"\n=== The lidding cell as first drawn, with its mistakes: ringout prove {first}\n")
    code = run(RINGOUT, "prove", first)
    if code != MISTAKES_FOUND or not errors_in(first):
        say(f"the first drawing holds mistakes that should have been found (exit code {code})")
        return code or 1
    say(f"\n=== The same cell as corrected: ringout prove {corrected}\n")
    code = run(RINGOUT, "prove", corrected)
    if code:
        say(f"the corrected file should prove clean, but the exit code is {code}")
        return code
    seen = ("it worked before", "lid_on_cup off while B2 target", "lamp of B2 lit while B2 target")
    said = " ".join(f'--seen "{sentence}"' for sentence in seen[:2])
    say(f"\n=== One night later: ringout find {corrected} {said} ...\n")
    words = [word for sentence in seen for word in ("--seen", sentence)]
    code = run(RINGOUT, "find", corrected, *words)
    if code:
        say(f"the culprit should have been looked for, but the exit code is {code}")
        return code
    say(
        f"\nYour turn: change a length or a part in {corrected}, then\n"
        f"  {RINGOUT.relative_to(ROOT)} prove {corrected}"
    )
    return 0


def tests(*words: str) -> int:
    """Run pytest on two cores; pyproject.toml makes every warning an error."""
    set_up(DEVELOPER)
    fetch_referee()
    return run(PYTHON, "-m", "pytest", "-q", "-n", "2", *words)


def test() -> int:
    """Run the tests; those skipped are listed by name at the end."""
    return tests()


def proof() -> int:
    """Run the slow tests, with many more random cases."""
    fetch_browser()
    return tests("-m", "slow", "--hypothesis-profile=proof")


def check() -> int:
    """Check layout, lint, types and the rules of the house."""
    set_up(DEVELOPER)
    steps: tuple[tuple[str, ...], ...] = (
        ("ruff", "format", "--check", "."),
        ("ruff", "check", "."),
        ("mypy",),
        ("pytest", "-q", "tests/contract"),
    )
    failed = []
    for step in steps:
        say("--- " + " ".join(step))
        if run(PYTHON, "-m", *step):
            failed.append(" ".join(step))
    if failed:
        say("failed: " + "; ".join(failed))
    return 1 if failed else 0


BENCHES = ("bench.py", "find_bench.py", "campaign_bench.py", "web_bench.py", "live_bench.py")


def bench() -> int:
    """Measure how long the main job takes, as ratios within one run."""
    set_up(DEVELOPER)
    codes = [run(PYTHON, Path("tests") / "bench" / name) for name in BENCHES]
    return max(codes)


def docs() -> int:
    """Write the pages of docs/ that are made from the program itself."""
    set_up(USER)
    return run(PYTHON, Path("tools") / "gen_docs.py")


def pictures() -> int:
    """Make the pictures of docs/ with the program's own commands."""
    set_up(DEVELOPER)
    return run(PYTHON, Path("tools") / "make_pictures.py")


def clean() -> int:
    """Remove .venv and all caches."""
    for name in (".venv", ".hypothesis", ".mypy_cache", ".pytest_cache", ".ruff_cache", "build"):
        shutil.rmtree(ROOT / name, ignore_errors=True)
    return 0


def setup() -> int:
    """Set up .venv with everything the tests need, and stop there."""
    set_up(DEVELOPER)
    return 0


GOALS = {
    goal.__name__: goal for goal in (demo, test, check, proof, bench, docs, pictures, setup, clean)
}


def main() -> int:
    """Run the goal named on the command line."""
    lines = [f"  {name:9}{goal.__doc__}" for name, goal in GOALS.items()]
    parser = argparse.ArgumentParser(
        prog="tools/setup.py",
        description="Set up the checkout and run one of its goals.",
        epilog="goals:\n" + "\n".join(lines),
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("goal", choices=list(GOALS), metavar="goal")
    goal = parser.parse_args().goal
    os.environ.setdefault(
        "PYTHONUTF8", "1"
    )  # ohm and degree signs, whatever the terminal's default
    if sys.version_info < OLDEST:
        better = newer_python()
        if better is None:
            return int(bool(sys.stderr.write("ringout needs Python 3.11 or newer\n")))
        return run(better, Path(__file__).resolve(), goal)
    return GOALS[goal]()


if __name__ == "__main__":
    sys.exit(main())
