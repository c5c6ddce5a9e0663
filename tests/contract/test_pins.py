"""Everything that is installed is pinned by name and version, with what it needs."""

from __future__ import annotations

import re
import tomllib
from importlib.metadata import distribution

from packaging.markers import default_environment
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.contract.house import ROOT

PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def lines_of(name: str) -> list[str]:
    text = (ROOT / name).read_text(encoding="utf-8")
    return [line for raw in text.splitlines() if (line := raw.split("#")[0].strip())]


def pins_of(*names: str) -> dict[str, str]:
    """Return version by name from requirement files, without `-r` lines."""
    pins = {}
    for name in names:
        for line in lines_of(name):
            if not line.startswith("-r "):
                wanted = Requirement(line)
                pins[canonicalize_name(wanted.name)] = str(wanted.specifier).removeprefix("==")
    return pins


def test_every_line_is_an_exact_pin():
    pin = re.compile(r"[A-Za-z0-9._-]+==[0-9][A-Za-z0-9.]*(; .+)?")
    for path in sorted(ROOT.glob("requirements*.txt")):
        loose = [x for x in lines_of(path.name) if not x.startswith("-r ") and not pin.fullmatch(x)]
        assert not loose, f"{path.name}: {loose}"
    loose = [x for x in PROJECT["build-system"]["requires"] if not pin.fullmatch(x)]
    assert not loose


def test_project_and_requirements_agree():
    pins = pins_of("requirements.txt")
    wanted = PROJECT["project"]["dependencies"] + PROJECT["build-system"]["requires"]
    for line in wanted:
        name, version = line.split("==")
        assert pins[canonicalize_name(name)] == version


def needed_by(roots: list[str]) -> set[str]:
    """Return the names of all packages that `roots` need, themselves included."""
    open_names, seen = [canonicalize_name(root) for root in roots], set()
    environment = {**default_environment(), "extra": ""}
    while open_names:
        name = open_names.pop()
        if name in seen:
            continue
        seen.add(name)
        for line in distribution(name).requires or []:
            wanted = Requirement(line)
            if wanted.marker is None or wanted.marker.evaluate(environment):
                open_names.append(canonicalize_name(wanted.name))
    return seen


def test_what_packages_need_is_pinned_too():
    own = [line.split("==")[0] for line in PROJECT["project"]["dependencies"]]
    missing = needed_by(own) - set(pins_of("requirements.txt"))
    assert not missing, f"not in requirements.txt: {missing}"
    dev = list(pins_of("requirements-dev.txt"))
    missing = needed_by(dev) - set(pins_of("requirements.txt", "requirements-dev.txt"))
    assert not missing, f"not in requirements-dev.txt: {missing}"


def test_what_is_installed_is_what_is_pinned():
    pins = pins_of("requirements.txt", "requirements-dev.txt")
    pins.pop("colorama")  # on one kind of system only
    other = {
        n: (distribution(n).version, v) for n, v in pins.items() if distribution(n).version != v
    }
    assert not other, f"(installed, pinned): {other}; run `make setup`"
