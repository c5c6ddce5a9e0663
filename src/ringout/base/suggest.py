"""The word that was probably meant."""

from __future__ import annotations

from collections.abc import Iterable
from difflib import get_close_matches

_LONGEST_WORD = 60  # beyond this nobody mistyped a name, and comparing gets slow
_MOST_CHOICES = 2000

_SHOWN = 8
_STARTING = 3


def hint(word: str, choices: Iterable[str], most: int = _SHOWN) -> str:
    """Return what may have been meant by an unknown name, or what there is, cut with a count."""
    known = list(dict.fromkeys(choices))
    small = word.casefold()
    begun = [c for c in known if small and c.casefold().startswith(small)]
    if 0 < len(begun) <= _STARTING:
        return f"did you mean {' or '.join(f'`{c}`' for c in begun)}?"
    near = did_you_mean(word, known)
    if near is not None:
        return f"did you mean `{near}`?"
    more = f" ... and {len(known) - most} more" if len(known) > most else ""
    return f"there are {', '.join(known[:most])}{more}" if known else "there are none"


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
