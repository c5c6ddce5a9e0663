"""How the kernels are compiled; importing this module imports numba.

Compiled code is kept on disk. numba looks only at the file a kernel stands in, not at those whose
kernels it calls, so the code is kept in a folder named after a digest of all of them.
"""

from __future__ import annotations

import hashlib
import os
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

import numba  # type: ignore[import-untyped, unused-ignore]

_F = TypeVar("_F", bound=Callable[..., object])
_HERE = Path(__file__).resolve().parent


def _folder() -> Path:
    """Return where compiled code is kept: beside the sources, else in a folder of the user."""
    digest = hashlib.sha256()
    for file in sorted(_HERE.glob("*.py")):
        digest.update(file.read_bytes())
    name = f"kernels-{digest.hexdigest()[:16]}"
    beside = _HERE / "__pycache__"
    if os.access(beside if beside.is_dir() else _HERE, os.W_OK):
        return beside / name
    home = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    user = Path(home) if home else Path.home() / ".cache"
    if os.access(user if user.is_dir() else user.parent, os.W_OK):
        return user / "ringout" / name
    return Path(tempfile.gettempdir()) / "ringout" / name


if not numba.config.CACHE_DIR:
    numba.config.CACHE_DIR = str(_folder())


def kernel(function: _F) -> _F:
    """Return a function compiled at its first call and kept on disk for the next run."""
    made: _F = numba.njit(cache=True, error_model="numpy", fastmath={"contract"})(function)
    return made
