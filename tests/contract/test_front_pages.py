"""README and CHANGELOG keep their form."""

from __future__ import annotations

import re
from datetime import date

import ringout
from tests.contract.house import ROOT

README = (ROOT / "README.md").read_text(encoding="utf-8")
CHANGELOG = (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_readme_opens_with_the_job_then_the_two_commands():
    title, job, *rest = [block.strip() for block in README.split("\n\n") if block.strip()]
    assert title == "# ringout"
    for word in ("technician", "pins", "wire", "2 a.m."):
        assert word in job, f"the opening paragraph does not speak of `{word}`"
    before = "\n\n".join(rest).split("\n## ")[0]
    code = re.findall(r"```\w*\n(.*?)```", before, flags=re.DOTALL)
    assert code, "the two commands stand before the first heading"
    assert [line.split("#")[0].strip() for line in code[0].splitlines()] == [
        "make demo",
        "make test",
    ]
    assert "py tools/setup.py demo" in README


def test_readme_has_the_cautions():
    text = " ".join(README.split()).lower()
    for words in ("isolate and lock off", "not a safety assessment", "licensed"):
        assert words in text


def test_goals_named_in_the_pages_exist():
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    goals = set(re.search(r"^GOALS := (.+)$", makefile, flags=re.MULTILINE)[1].split())
    pages = [ROOT / "README.md", *sorted((ROOT / "docs").glob("*.md"))]
    for page in pages:
        text = page.read_text(encoding="utf-8")
        named = set(re.findall(r"`make ([a-z]+)`|^make ([a-z]+)", text, flags=re.MULTILINE))
        named = {one or other for one, other in named}
        assert named <= goals, f"{page.name}: {sorted(named - goals)}"
    script = (ROOT / "tools" / "setup.py").read_text(encoding="utf-8")
    for goal in goals:
        assert f"def {goal}(" in script, goal


def test_changelog_form():
    lines = CHANGELOG.splitlines()
    assert lines[0] == "# Changelog"
    versions, kind = [], None
    for number, line in enumerate(lines[1:], 2):
        place = f"CHANGELOG.md:{number}: {line!r}"
        if line.startswith("## "):
            found = re.fullmatch(r"## (Unreleased|\d+\.\d+\.\d+, (\d{4}-\d\d-\d\d))", line)
            assert found, place
            assert found[2] is None or date.fromisoformat(found[2]), place
            versions.append(found[1].split(",")[0])
            kind = None
        elif line.startswith("#"):
            assert line in {"### Added", "### Changed", "### Fixed", "### Removed"}, place
            kind = line
        elif line.startswith("- "):
            assert kind, f"{place} stands under no kind"
            assert line.endswith((".", ",")) or lines[number : number + 1], place
        elif line.strip() and versions:
            assert line.startswith("  "), f"{place} is neither entry nor continuation"
    assert versions, "no version"
    numbers = [tuple(map(int, v.split("."))) for v in versions if v != "Unreleased"]
    assert numbers == sorted(numbers, reverse=True), "newest first"
    assert "Unreleased" not in versions[1:], "Unreleased stands first"
    assert versions[0] == "Unreleased" or versions[0] == ringout.__version__
