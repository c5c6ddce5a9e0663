"""The list of all codes: what each means and why it matters, read from `codes.toml`."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib.resources import files


@dataclass(frozen=True, slots=True)
class CodeInfo:
    """One code: `title` says what is wrong, `explanation` why and what to do about it."""

    title: str
    explanation: str


def _load_codes() -> Mapping[str, CodeInfo]:
    text = files("ringout.base").joinpath("codes.toml").read_text(encoding="utf-8")
    return {
        code: CodeInfo(fields["title"], fields["explanation"])
        for code, fields in tomllib.loads(text).items()
    }


# Letter: T text, N names and values, W wiring, C circuit, F findings. A code is never reused.
CODES: Mapping[str, CodeInfo] = _load_codes()
