"""Public means listed in `__all__`; whatever is listed exists and explains itself."""

from __future__ import annotations

import importlib
import inspect

import pytest

from tests.contract.house import PACKAGE, dotted, modules, short


def rooms_with_a_door() -> list[str]:
    return sorted(dotted(path) for path in PACKAGE.glob("*/__init__.py"))


@pytest.mark.parametrize("name", rooms_with_a_door())
def test_room_lists_its_public_names(name):
    room = importlib.import_module(name)
    assert getattr(room, "__all__", None), f"{name} has no __all__"
    assert len(set(room.__all__)) == len(room.__all__), "a name is listed twice"
    missing = [public for public in room.__all__ if not hasattr(room, public)]
    assert not missing, f"{name} lists names it does not have: {missing}"


@pytest.mark.parametrize("name", rooms_with_a_door())
def test_public_functions_and_classes_explain_themselves(name):
    room = importlib.import_module(name)
    bare = [
        public
        for public in getattr(room, "__all__", [])
        if (inspect.isfunction(thing := getattr(room, public, None)) or inspect.isclass(thing))
        and not (thing.__doc__ or "").strip()
    ]
    assert not bare, f"no docstring: {bare}"


@pytest.mark.parametrize("path", modules(), ids=short)
def test_every_module_imports_and_what_it_lists_exists(path):
    if path.stem == "__main__":
        assert "__name__" in path.read_text(encoding="utf-8"), "runs when imported"
    module = importlib.import_module(dotted(path))
    assert (module.__doc__ or "").strip(), "no module docstring"
    missing = [name for name in getattr(module, "__all__", []) if not hasattr(module, name)]
    assert not missing
