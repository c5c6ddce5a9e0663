"""What the tutorial and the how-to pages tell a reader to do, done; what they show, compared."""

from __future__ import annotations

import re

import pytest

from tests.contract.house import ROOT

# Pages that need two terminals at once; the test named beside each plays both.
FOLLOWED_ELSEWHERE = {"tutorial-live.md": ROOT / "tests" / "live" / "test_tutorial.py"}
PAGES = sorted(
    path
    for pattern in ("tutorial*.md", "howto-*.md")
    for path in (ROOT / "docs").glob(pattern)
    if path.name not in FOLLOWED_ELSEWHERE
)
OWN_LINE = re.compile(r"^(?:\$ )?(?:\.venv/bin/)?ringout ", re.MULTILINE)
INLINE = re.compile(r"`(ringout [a-z]+ [^`]*)`")
# Blocks that need a second terminal, a machine or a person: the only other home of a command.
BY_HAND = "by-hand"


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_a_page_comes_true(page, run_pages, tmp_path):
    problems = run_pages.follow(page, tmp_path, slow=False)
    assert not problems, "\n\n".join(problems)
    if page.name == "tutorial.md":
        corrected = tmp_path / "examples" / "caddy-lidder" / "corrected.yaml"
        assert statements(tmp_path / "caddy.yaml") == statements(corrected)


def statements(path):
    """Return the lines of a cell file without remarks, and with single blanks."""
    lines = [" ".join(line.split("#")[0].split()) for line in path.read_text("utf-8").splitlines()]
    return [line for line in lines if line]


@pytest.mark.slow
@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_a_page_with_slow_blocks_comes_true(page, run_pages, tmp_path):
    blocks = run_pages.read_blocks(page.read_text(encoding="utf-8"))
    if not any(block.slow for block in blocks):
        return  # wholly done by the test above
    problems = run_pages.follow(page, tmp_path, slow=True)
    assert not problems, "\n\n".join(problems)


@pytest.mark.parametrize("page", PAGES, ids=lambda path: path.name)
def test_no_command_of_a_page_is_left_untried(page, run_pages):
    text = page.read_text(encoding="utf-8")
    blocks = run_pages.read_blocks(text)
    tried = {
        shown.command
        for block in blocks
        if block.language == "console" and BY_HAND not in block.marks
        for shown in run_pages.read_commands(block)
    }
    outside = [
        f"line {block.line}"
        for block in blocks
        if block.language != "console" and BY_HAND not in block.marks
        if OWN_LINE.search("\n".join(block.lines))
    ]
    assert not outside, f"commands outside console blocks: {outside}"
    by_hand = {
        line.removeprefix("$ ")
        for block in blocks
        if BY_HAND in block.marks
        for line in block.lines
    }
    untried = [words for words in INLINE.findall(text) if words not in tried | by_hand]
    assert not untried, "named in the text, but in no console block of the page"


def test_a_page_followed_elsewhere_is_named_there():
    for name, test in FOLLOWED_ELSEWHERE.items():
        assert (ROOT / "docs" / name).exists()
        assert name in test.read_text(encoding="utf-8")


def test_pages_are_there_and_linked_from_the_front_page():
    front = (ROOT / "README.md").read_text(encoding="utf-8")
    pages = sorted(path.name for path in (ROOT / "docs").glob("*.md"))
    assert len(PAGES) > 5
    missing = [name for name in pages if f"(docs/{name})" not in front]
    assert not missing


# The follower itself is tried on pages that lie.

HONEST = """
```yaml file=a.txt
one
two
```
```diff file=a.txt
 one
-two
+three
```
"""


def followed(run_pages, tmp_path, text):
    page = tmp_path / "page.md"
    page.write_text(text, encoding="utf-8")
    folder = tmp_path / "folder"
    folder.mkdir()
    return run_pages.follow(page, folder, slow=False), folder


def test_files_are_written_and_changed(run_pages, tmp_path):
    problems, folder = followed(run_pages, tmp_path, HONEST)
    assert not problems
    assert (folder / "a.txt").read_text(encoding="utf-8") == "one\nthree\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HONEST.replace("-two", "-four"), "exactly once"),
        ("```console\n$ ringout prove none.yaml\n...\n```\n", "exit code 2"),
        ("```console exit=2\n$ ringout prove none.yaml\nall is well\n```\n", "all is well"),
        ("```console exit=2\n$ ringout prove none.yaml\n```\n", "does not print"),
        (
            "```console exit=2\n$ ringout prove none.yaml\n...\nall is well\n...\n```\n",
            "all is well",
        ),
        ("```console\n$ rm -r examples\n```\n", "no command"),
        ("```console\nls\n```\n", "begins with"),
    ],
)
def test_the_follower_sees_what_does_not_come_true(run_pages, tmp_path, text, words):
    problems, _ = followed(run_pages, tmp_path, text)
    assert len(problems) == 1
    assert words in problems[0]


@pytest.mark.parametrize(
    ("shown", "printed", "missing"),
    [
        ([], [], None),
        ([], ["a"], []),
        (["a", "b"], ["a", "b"], None),
        (["a"], ["a", "b"], ["a"]),
        (["a", "..."], ["a", "b"], None),
        (["...", "a"], ["a", "b"], ["a"]),
        (["...", "b"], ["a", "b"], None),
        (["...", "b", "..."], ["a", "b", "c"], None),
        (["a", "...", "c"], ["a", "b", "c"], None),
        (["...", "c", "...", "a", "..."], ["a", "b", "c"], ["a"]),
        (["a", "c"], ["a", "b", "c"], ["a", "c"]),
    ],
)
def test_passages_are_found_in_their_order(run_pages, shown, printed, missing):
    assert run_pages.find_missing(shown, printed) == missing


def test_a_page_is_brought_up_to_date(run_pages):
    shown = ["...", "signal works with 3.1 V to spare", "..."]
    printed = ["head", "signal works with 3.2 V to spare", "tail"]
    new = run_pages.refreshed(shown, printed)
    assert new == ["...", printed[1], "..."]
    assert run_pages.find_missing(new, printed) is None
