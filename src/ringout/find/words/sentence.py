"""One sentence of a person: its characters made alike, what was understood, what is left."""

from __future__ import annotations

import re
from dataclasses import dataclass

LONGEST = 300  # characters; nobody says one observation in more

# One character for one, so that places in the text stay right.
_ALIKE = str.maketrans(
    {
        **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212", "-"),
        **dict.fromkeys('\u00a0\u2007\u2009\u202f\t\r\n"`\u201c\u201d\u201e', " "),
        **dict.fromkeys("\u2018\u2019\u00b4", "'"),
        "\u03bc": "µ",
        "\u2126": "Ω",
        "≈": "~",
        "≥": ">",
        "≤": "<",
    }
)
_REMARK = re.compile(r"(?:^|\s)#.*$|\(taken: .*\)\s*$")
# A long dash after a pin parts two terminals; any other dash belongs to a name or a range.
_PARTING_DASH = re.compile(r"(:[^\s:\u2013\u2014]+)[\u2013\u2014](?=[A-Za-z]\w*[-\u2013\u2014:])")
_TOKEN = re.compile(r"[^\s,]+|,")
_PUNCTUATION = ".,:;!?=()"


@dataclass(frozen=True, slots=True)
class Token:
    """A word of the sentence: characters `start` to `end`."""

    text: str
    start: int
    end: int

    @property
    def small(self) -> str:
        """Return the word in small letters."""
        return self.text.casefold()


class UnclearError(Exception):
    """A sentence cannot be taken as it stands; carries one diagnostic's worth of words.

    Args:
        code: code of the diagnostic.
        message: what is wrong, or what is asked back.
        place: first and last character that are meant; None for the whole sentence.
        fix: what to say instead.
    """

    def __init__(
        self, code: str, message: str, place: tuple[int, int] | None = None, fix: str = ""
    ) -> None:
        super().__init__(message)
        self.code = code
        self.message = message
        self.place = place
        self.fix = fix


class Sentence:
    """A sentence being understood; what is understood is blanked out of `rest`.

    Args:
        text: the sentence as it was said.
    """

    def __init__(self, text: str) -> None:
        alike = _PARTING_DASH.sub("\\1\u2192", text).translate(_ALIKE)
        self.rest = "".join(c if c.isprintable() else " " for c in alike)
        self.pieces: list[str] = []
        self.taken: list[str] = []
        remark = _REMARK.search(self.rest)
        if remark is not None:
            self.take(remark.start(), remark.end())

    def take(self, start: int, end: int) -> None:
        """Blank out characters that are understood."""
        self.rest = self.rest[:start] + " " * (end - start) + self.rest[end:]

    def piece(self, text: str, *parts: str) -> None:
        """Note a piece as understood, for telling how far it went; it replaces its parts."""
        self.pieces = [p for p in self.pieces if p not in parts]
        if text and text not in self.pieces:
            self.pieces = [p for p in self.pieces if not text.startswith(p)] + [text]

    def remark(self, text: str) -> None:
        """Note what was taken for what, for telling in the answer."""
        if text not in self.taken:
            self.taken.append(text)

    def tokens(self) -> list[Token]:
        """Return the words that are left, commas apart, without punctuation at their ends."""
        return tokens_of(self.rest)


def word_set(text: str) -> frozenset[str]:
    """Return the words of a text as a set."""
    return frozenset(text.split())


def tokens_of(text: str, offset: int = 0) -> list[Token]:
    """Return the words of a text, commas apart, without punctuation at their ends."""
    found: list[Token] = []
    for m in _TOKEN.finditer(text):
        word, start = m[0], offset + m.start()
        if word != ",":
            bare = word.lstrip("=(:;")
            start += len(word) - len(bare)
            word = bare.rstrip(_PUNCTUATION)
        if word:
            found.append(Token(word, start, start + len(word)))
    return found


def spread(tokens: list[Token]) -> tuple[int, int] | None:
    """Return first and last character of some words; None when there are none."""
    return (tokens[0].start, tokens[-1].end) if tokens else None
