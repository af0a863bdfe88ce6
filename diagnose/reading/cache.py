"""Checked knowledge kept from the last time. On a hit neither the YAML nor the schema library is imported."""

from __future__ import annotations

import contextlib
import gc
import hashlib
import os
import pickle
import sys
import tempfile
from pathlib import Path
from typing import Any

from diagnose import __version__
from diagnose.model import Knowledge
from diagnose.reading.files import Gathered, content_version, gather

_ALLOWED = frozenset({("builtins", "frozenset"), ("builtins", "set")})
"""What a cache file may name beside our own frozen values."""


def load_cached(shipped: Path, shop: Path | None, cache_dir: Path) -> Knowledge:
    """Return the knowledge of a folder and a shop's layer, from the cache where nothing has changed.

    A cache file that is damaged or of another version is ignored and written anew; a cache folder that
    cannot be written to is no mistake.

    Raises:
        KnowledgeError: As diagnose.reading.load.load.
    """
    folders = [gather(shipped)] + ([gather(shop, "shop")] if shop else [])
    version = content_version(file for folder in folders for file in folder.files)
    path = cache_dir / f"knowledge-{_key(folders, version)}.pickle"
    if not any(folder.problems for folder in folders) and (kept := _read(path, version)):
        return kept
    from diagnose.reading.load import load

    knowledge = load(shipped, shop)
    if knowledge.version == version:
        _write(path, knowledge)
    return knowledge


def _key(folders: list[Gathered], version: str) -> str:
    """Return the hash over content, the names shown in places, the program and the Python."""
    names = [file.shown for folder in folders for file in folder.files]
    parts = [version, __version__, sys.version, *names]
    return hashlib.sha256("\n".join(parts).encode()).hexdigest()[:24]


class _Unpickler(pickle.Unpickler):
    """Reads our own values only, so that a cache file from elsewhere can start nothing."""

    def find_class(self, module: str, name: str) -> Any:
        """Return the class of a value. Raises UnpicklingError for anything that is not ours."""
        if (module, name) in _ALLOWED or module == "diagnose.problems" or module.startswith("diagnose.model."):
            found = super().find_class(module, name)
            if isinstance(found, type):
                return found
        raise pickle.UnpicklingError(f"{module}.{name} does not belong in a cache of knowledge")


def _read(path: Path, version: str) -> Knowledge | None:
    """Return what a cache file holds, or None where it is of no use."""
    collecting = gc.isenabled()
    gc.disable()
    try:
        with path.open("rb") as file:
            kept = _Unpickler(file).load()
    except Exception:
        return None
    finally:
        if collecting:
            gc.enable()
    return kept if isinstance(kept, Knowledge) and kept.version == version else None


def _write(path: Path, knowledge: Knowledge) -> None:
    """Write a cache file in one step, so that no half file is read; a folder that refuses is left alone."""
    with contextlib.suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix="knowledge-", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                pickle.dump(knowledge, file, protocol=pickle.HIGHEST_PROTOCOL)
            os.replace(name, path)
        except BaseException:
            os.unlink(name)
            raise
        for old in path.parent.glob("knowledge-*.pickle"):
            if old != path:
                old.unlink(missing_ok=True)
