"""Text of people, made fit to be kept: one line, no control characters, not too long."""

from __future__ import annotations

import unicodedata


def clean(text: str, most: int) -> str:
    """Return text without control characters and lone surrogates, cut to `most` signs."""
    kept = "".join(
        " " if unicodedata.category(c) == "Cc" else c
        for c in text.encode("utf-8", "replace").decode()
    )
    return " ".join(kept.split())[:most].rstrip()
