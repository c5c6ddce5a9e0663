"""Templates to text: one environment, everything escaped, our own filters."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

ROOM = Path(__file__).parent
TEMPLATES = ROOM / "templates"
STATIC = ROOM / "static"


@lru_cache(maxsize=1)
def environment() -> Any:
    """Return the environment; its templates are compiled once."""
    import jinja2

    made = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.filters["signed"] = signed
    return made


def render(template: str, values: dict[str, Any]) -> str:
    """Return a page as text."""
    made: str = environment().get_template(template).render(values)
    return made


def signed(value: float, digits: int = 1) -> str:
    """Return a number with its sign and a true minus."""
    return f"{value:+.{digits}f}".replace("-", "\N{MINUS SIGN}")
