"""What stands in the menu, in the order of the work; known before the pages are loaded."""

from __future__ import annotations

MENU: tuple[tuple[str, str], ...] = (
    ("/", "Overview"),
    ("/circuit", "Circuit"),
    ("/sockets", "Sockets"),
    ("/faults", "Faults"),
    ("/checkout", "Checkout"),
    ("/find", "Find"),
    ("/paper", "Paper"),
    ("/records", "Records"),
    ("/live", "Live"),
    ("/exercise", "Exercise"),
    ("/add", "Add"),
    ("/file", "File"),
)
