"""Guards for every test: a home folder of its own, no network, and a named source for published figures."""

from __future__ import annotations

import socket
from pathlib import Path

import pytest


@pytest.fixture(autouse=True)
def _own_home(tmp_path_factory, monkeypatch):
    """Nothing a test does can touch the jobs of whoever runs it."""
    home = tmp_path_factory.mktemp("home")
    monkeypatch.setenv("DIAGNOSE_HOME", str(home))
    monkeypatch.setenv("HOME", str(home))


@pytest.fixture(autouse=True)
def _no_network(monkeypatch):
    """The tool asks no network for anything, and neither does a test."""

    def refuse(self, address):
        if self.family != socket.AF_UNIX:
            raise AssertionError(f"a test tried to reach {address}")
        return original(self, address)

    original = socket.socket.connect
    monkeypatch.setattr(socket.socket, "connect", refuse)


def pytest_collection_modifyitems(items):
    """A test under published/ names who says what it expects."""
    unnamed = [
        item.nodeid
        for item in items
        if "published" in Path(item.fspath).parts and not item.get_closest_marker("source")
    ]
    if unnamed:
        raise pytest.UsageError("no source named in: " + ", ".join(unnamed))


@pytest.fixture(scope="session")
def shipped():
    """The knowledge that comes with the tool."""
    from diagnose.reading.load import load, shipped_folder

    return load(shipped_folder())
