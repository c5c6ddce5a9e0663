"""Codes of findings that are looked at together: what explains, and what is explained."""

from __future__ import annotations

# Findings that explain what is wrong with many signals.
CAUSES = frozenset({"F201", "F203", "F401", "F402", "F406"})
# A signal or a load has a wrong level, told of it alone.
LEVELS = frozenset({"F101", "F102", "F103", "F104", "F105", "F301", "F302", "F305"})
# What a cause brings: also channels nothing is wired to, and what could not be decided.
ECHOES = LEVELS | {"F107", "F110"}
# What a missing conductor looks like: also inputs that float.
MISSING = ECHOES | {"F106"}
