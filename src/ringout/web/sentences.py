"""Messages and cures, which are written without capitals and stops, as sentences of a page."""

from __future__ import annotations


def as_sentences(*parts: str) -> str:
    """Return each part that says something as a sentence of its own."""
    said = (f"{p[:1].upper()}{p[1:]}" for p in parts if p)
    return " ".join(s if s[-1] in ".?!" else f"{s}." for s in said)
