"""How the kernels are compiled: all at the first campaign, numba being imported only then.

Kernels are plain functions of their modules. `ready` puts the compiled function of each in its
place, in every module of this package that knows it: numba, too, finds a kernel that another one
calls among the names of the caller's module.

Compiled code is kept in a folder of the user. numba looks only at the file a kernel stands in, not
at those whose kernels it calls, so the folder is named after a digest of all of them.

No kernel makes arrays, so none counts references to them. That counting would take most of the
time: each call hands over dozens of arrays, and each would be counted up and down. For the same
reason kernels are put into their callers whole, but for the few that are called once a case.
"""

from __future__ import annotations

import hashlib
import os
import re
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Lock
from types import FunctionType
from typing import Any, TypeVar

_F = TypeVar("_F", bound=Callable[..., object])
_HERE = Path(__file__).resolve().parent
_PACKAGE = __name__.rpartition(".")[0]
_inlined: list[Any] = []
_called: list[Any] = []
_outer: list[Any] = []
_entries: list[str] = []
_lock = Lock()
_OF_KERNELS = re.compile(rb"^@(kernel|called|entry)\b|\(NamedTuple\):", re.MULTILINE)


def kernel(function: _F) -> _F:
    """Name a function that other kernels take in whole."""
    _inlined.append(function)
    return function


def called(function: _F) -> _F:
    """Name a function that other kernels call: a large one, called about once a case."""
    _called.append(function)
    return function


def entry(function: _F) -> _F:
    """Name a kernel that Python calls."""
    _outer.append(function)
    _entries.append(f"{function.__module__.rpartition('.')[2]}.{function.__name__}")
    return function


def ready() -> None:
    """Put compiled functions in the place of the kernels; each is compiled when first called."""
    with _lock:
        if not _outer:
            return
        made = _compiled()
        for name, module in list(sys.modules.items()):
            if name == _PACKAGE or name.startswith(_PACKAGE + "."):
                for key, value in list(vars(module).items()):
                    if isinstance(value, FunctionType) and value in made:
                        setattr(module, key, made[value])
        for known in (_inlined, _called, _outer):
            known.clear()


def is_kept() -> bool:
    """Return whether every kernel was compiled by an earlier run and its code was kept."""
    folder = code_folder()
    if folder is None:
        return False
    kept = {file.name.rpartition("-")[0] for file in folder.rglob("*.nbi")}
    return kept.issuperset(_entries)


def _compiled() -> dict[Any, Any]:
    """Return the compiled function of each kernel."""
    import numba

    njit: Any = numba.njit  # its types do not know all that it takes
    config: Any = numba.config
    options = {
        "error_model": "numpy",
        "fastmath": {"contract"},
        "no_cfunc_wrapper": True,
        "_nrt": False,
    }
    inner = {**options, "no_cpython_wrapper": True}
    folder = code_folder()
    before = config.CACHE_DIR
    if folder is not None:
        config.CACHE_DIR = str(folder)
    try:
        made = {f: njit(forceinline=True, **inner)(f) for f in _inlined}
        made |= {f: njit(**inner)(f) for f in _called}
        made |= {f: njit(cache=folder is not None, **options)(f) for f in _outer}
    finally:
        config.CACHE_DIR = before
    return made


def code_folder() -> Path | None:
    """Return where compiled code is kept, or None when no folder of the user can be written.

    `NUMBA_CACHE_DIR` wins. A folder that others can write is never taken of ourselves: what is
    read from there is run.
    """
    asked = os.environ.get("NUMBA_CACHE_DIR")
    try:
        folder = (Path(asked) if asked else _caches() / "ringout") / f"kernels-{_digest()}"
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except (OSError, RuntimeError):  # no home, or one that cannot be written
        return None
    return folder if os.access(folder, os.W_OK) else None


def _caches() -> Path:
    """Return the folder of this user for what can be made again."""
    if sys.platform == "win32":
        local = os.environ.get("LOCALAPPDATA")
        return Path(local) if local else Path.home() / "AppData" / "Local"
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches"
    given = os.environ.get("XDG_CACHE_HOME")
    return Path(given) if given else Path.home() / ".cache"


def _digest() -> str:
    """Return a digest of all sources with kernels, or with what is handed to kernels."""
    digest = hashlib.sha256()
    for file in sorted(_HERE.glob("*.py")):
        source = file.read_bytes()
        if _OF_KERNELS.search(source):
            digest.update(source)
    return digest.hexdigest()[:16]
