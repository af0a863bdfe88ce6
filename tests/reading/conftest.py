"""A good folder of knowledge for the tests of reading."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

BASE = Path(__file__).parent.parent / "broken" / "_base"


@pytest.fixture
def shipped(tmp_path: Path) -> Path:
    """Return a copy of the good folder."""
    return Path(shutil.copytree(BASE, tmp_path / "knowledge"))


@pytest.fixture
def shop(tmp_path: Path) -> Path:
    """Return an empty folder for the shop's layer."""
    folder = tmp_path / "shop"
    folder.mkdir()
    return folder
