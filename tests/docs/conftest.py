"""The tools that follow the pages and make their pictures."""

from __future__ import annotations

import importlib.util
import sys

import pytest

from tests.contract.house import ROOT


def load(name: str):
    """Return a script of tools/ as a module."""
    spec = importlib.util.spec_from_file_location(name, ROOT / "tools" / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module  # dataclasses look their module up
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def run_pages():
    return load("run_pages")


@pytest.fixture(scope="session")
def make_pictures():
    return load("make_pictures")
