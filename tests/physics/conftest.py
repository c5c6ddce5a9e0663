"""What the tests of physics share."""

from __future__ import annotations

import pytest

from tests.physics.small_cells import Bench


@pytest.fixture
def bench(tmp_path):
    """Return a place to judge small cells in."""
    return Bench(tmp_path)
