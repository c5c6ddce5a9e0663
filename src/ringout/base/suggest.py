"""The word that was probably meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

_LONGEST_WORD = 60  # beyond this nobody mistyped a name, and comparing gets slow
_MOST_CHOICES = 2000


def did_you_mean(word: str, choices: Iterable[str]) -> str | None:
    """Return the choice nearest to a mistyped word, or None when nothing is near."""
    if not word or len(word) > _LONGEST_WORD:
        return None
    known = list(dict.fromkeys(choices))[:_MOST_CHOICES]
    by_small = {choice.casefold(): choice for choice in reversed(known)}
    small = word.casefold()
    if small in by_small:
        return by_small[small]
    near = get_close_matches(small, by_small, n=1, cutoff=0.6)
    return by_small[near[0]] if near else None
