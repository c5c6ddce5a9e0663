"""Nothing in a tracked file belongs to somebody else or to one machine only."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest

from tests.contract.house import tracked_text

# Addresses that must stand as they are, each with the reason. Nothing is ever fetched from them.
ADDRESSES_ALLOWED = {
    "http://www.w3.org/2000/svg": "the name of the SVG namespace",
    "http://www.w3.org/1999/xlink": "the name of the XLink namespace",
    "http://www.w3.org/1999/xhtml": "the name of the XHTML namespace",
    "https://json-schema.org/draft/2020-12/schema": "the name of the JSON Schema dialect",
    "http://127.0.0.1": "this very machine",
    "http://localhost": "this very machine",
}
ADDRESS = re.compile(r"\b(?:https?|ftp|ssh|git)://[^\s\"'<>)`\]}]+")
HOST = re.compile(
    r"\bwww\.\w+|\b[a-z0-9-]+(?:\.[a-z0-9-]+)*\.(?:com|org)\b|\b[\w.+-]+@[\w-]+\.[a-z]{2,}\b",
    re.IGNORECASE,
)
IP = re.compile(r"\b(?!127\.0\.0\.1\b|0\.0\.0\.0\b)(?:\d{1,3}\.){3}\d{1,3}\b")
MACHINE_PATH = re.compile(
    r"(?<![\w.<])/(?:work|tmp|home|root|opt|Users|mnt)/\w|\b[A-Z]:\\\\?[A-Z]\w"
)

DIGESTS = Path(__file__).with_name("digests.txt")
COINED = "acmetronix"  # stands for a maker when the check is tested


def listed(kind: str) -> set[str]:
    """Return the digests of one kind from the list, which holds digests so as to hold no names."""
    lines = DIGESTS.read_text(encoding="ascii").splitlines()
    return {line.split()[1] for line in lines if line.startswith(kind + " ")}


def digest(word: str) -> str:
    """Return the digest a word is listed under."""
    return hashlib.sha256(word.lower().encode()).hexdigest()[:16]


def addresses(text: str) -> list[str]:
    """Return every host name or address in a text that is not allowed."""
    allowed = tuple(ADDRESSES_ALLOWED)
    found = [a for a in ADDRESS.findall(text) if not a.startswith(allowed)]
    rest = text
    for address in allowed:
        rest = rest.replace(address, "")
    return found + HOST.findall(ADDRESS.sub("", rest)) + IP.findall(rest)


def listed_words(text: str, digests: set[str]) -> list[str]:
    """Return the words of a text whose digest is listed."""
    wholes = set(re.findall(r"[^\W_][\w.+&-]*\w", text.lower()))
    parts = {part for whole in wholes for part in re.split(r"[\W_]+", whole)}
    return sorted(word for word in wholes | parts if digest(word) in digests)


def report(check) -> str:
    return "\n".join(f"{name}: {bad}" for name, text in tracked_text() if (bad := check(text)))


def test_no_host_names():
    assert not report(addresses)


def test_no_machine_paths():
    assert not report(MACHINE_PATH.findall)


def test_no_makers_names():
    makers = listed("maker")
    assert len(makers) > 50
    assert not report(lambda text: listed_words(text, makers))


def test_no_words_of_one_workplace():
    words = listed("workplace")
    assert words
    assert not report(lambda text: listed_words(text, words))


def test_every_tracked_text_ends_its_last_line():
    odd = [name for name, text in tracked_text() if text and not text.endswith("\n")]
    assert not [name for name in odd if not name.startswith("tests/")]


@pytest.mark.parametrize(
    "text",
    [
        "see https:" + "//somewhere.example/page",
        "from www" + ".somewhere",
        "mirror at packages.somewhere.or" + "g",
        "write to someone@" + "somewhere.de",
        "panel at 192.168" + ".0.7",
    ],
)
def test_the_check_itself_sees_addresses(text):
    assert addresses(text)


@pytest.mark.parametrize(
    "text",
    [
        'xmlns="http://www.w3.org/2000/svg"',
        "serving on http://127.0.0.1:8024/",
        "lift W1:BN@S1, item.net(terminal), version 1.2.3",
    ],
)
def test_the_check_itself_lets_harmless_text_pass(text):
    assert not addresses(text)


def test_the_check_itself_sees_machine_paths():
    assert MACHINE_PATH.findall("open /" + "tmp/cell.yaml")
    assert MACHINE_PATH.findall("C:" + "\\Users\\me")
    assert not MACHINE_PATH.findall("a/tmp/b, </root>, #!/usr/bin/env, K1-X1:4")


def test_the_check_itself_sees_listed_words():
    digests = {digest(COINED)}
    for text in (f"an {COINED.upper()} input", f"{COINED}-type", f"x_{COINED}_y", f"({COINED})"):
        assert listed_words(text, digests) == [COINED] or COINED in listed_words(text, digests)
    assert not listed_words("a plain input", digests)
