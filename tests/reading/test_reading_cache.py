"""The cache gives the same knowledge, fast, and is never a reason to fail."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
import time
from pathlib import Path

import pytest

from diagnose.problems import KnowledgeError
from diagnose.reading.cache import load_cached
from diagnose.reading.load import load


@pytest.fixture
def cache(tmp_path: Path) -> Path:
    """Return a folder for the cache that is not there yet."""
    return tmp_path / "cache" / "inner"


def kept(cache: Path) -> Path:
    """Return the only file of the cache."""
    (path,) = cache.iterdir()
    return path


def test_what_is_kept_is_what_was_read(shipped: Path, shop: Path, cache: Path) -> None:
    """Both times the knowledge is the one that load gives, places and layers included."""
    (shop / "access.yaml").write_text("seat_off: {open: 4}\n")
    fresh = load(shipped, shop)
    for _ in range(2):
        cached = load_cached(shipped, shop, cache)
        assert cached == fresh
        assert repr(cached) == repr(fresh) or cached.access["seat_off"].place == fresh.access["seat_off"].place
        assert cached.access["seat_off"].layer == "shop"
    assert kept(cache).suffix == ".pickle"


def test_a_change_is_seen_and_the_old_file_goes(shipped: Path, cache: Path) -> None:
    """One figure is enough; the cache does not pile up."""
    load_cached(shipped, None, cache)
    path = shipped / "access.yaml"
    path.write_text(path.read_text().replace("open: 8", "open: 9"))
    assert load_cached(shipped, None, cache).access["bowl_off"].open == 9
    kept(cache)


@pytest.mark.parametrize("damage", [b"", b"\x80\x05nonsense", b"not a pickle", pickle.dumps({"a": 1})])
def test_a_damaged_file_is_ignored_and_written_anew(shipped: Path, cache: Path, damage: bytes) -> None:
    """Whatever is in it."""
    fresh = load_cached(shipped, None, cache)
    good = kept(cache).read_bytes()
    kept(cache).write_bytes(damage)
    assert load_cached(shipped, None, cache) == fresh
    assert len(kept(cache).read_bytes()) == len(good)


class Malicious:
    """Would make a folder if a pickle were trusted."""

    def __init__(self, path: str) -> None:
        self.path = path

    def __reduce__(self) -> tuple[object, tuple[str]]:
        """Call os.mkdir on loading."""
        return os.mkdir, (self.path,)


def test_a_cache_file_can_start_nothing(shipped: Path, cache: Path, tmp_path: Path) -> None:
    """Only our own values are taken from it."""
    fresh = load_cached(shipped, None, cache)
    kept(cache).write_bytes(pickle.dumps(Malicious(str(tmp_path / "made"))))
    assert load_cached(shipped, None, cache) == fresh
    assert not (tmp_path / "made").exists()


def test_a_folder_that_cannot_be_written_to(shipped: Path, tmp_path: Path) -> None:
    """Here a file stands where the folder should be, which stops even the superuser."""
    (tmp_path / "file").write_text("")
    assert load_cached(shipped, None, tmp_path / "file" / "cache") == load(shipped)


def test_mistakes_are_told_every_time(shipped: Path, cache: Path) -> None:
    """A mistake is never kept, and a stray file is not hidden by what was kept before it came."""
    load_cached(shipped, None, cache)
    (shipped / "fact.yaml").write_text("a: {}\n")
    for _ in range(2):
        with pytest.raises(KnowledgeError, match="stray-file"):
            load_cached(shipped, None, cache)


HIT = """
import sys
from pathlib import Path
from diagnose.reading.cache import load_cached
knowledge = load_cached(Path(sys.argv[1]), None, Path(sys.argv[2]))
print(len(knowledge.causes), "yaml" in sys.modules, "pydantic" in sys.modules)
"""


def test_a_hit_imports_neither_yaml_nor_pydantic(shipped: Path, cache: Path) -> None:
    """So the program starts fast; the first run, which does import them, shows that the check can fail."""
    runs = []
    for _ in range(2):
        command = [sys.executable, "-c", HIT, str(shipped), str(cache)]
        done = subprocess.run(command, capture_output=True, text=True, check=True, timeout=60)
        runs.append(done.stdout.split())
    assert runs[0] == ["2", "True", "True"]
    assert runs[1] == ["2", "False", "False"]


def test_a_hit_on_a_large_base_is_fast(shipped: Path, cache: Path) -> None:
    """Some four hundred causes and as many repairs; the best of five runs."""
    one = (
        "c{n}: {{name: Cause, plain: Words., mechanism: gum, prior: [0.03, 0.30, 0.70],"
        " leads_to: {{pilot_starved: 0.9}}, basis: [memory]}}\n"
    )
    (shipped / "causes" / "many.yaml").write_text("".join(one.format(n=n) for n in range(400)))
    cure = "r{n}: {{name: Repair, cures: {{c{n}: 0.9}}, minutes: 5, steps: [Do it.], basis: [memory]}}\n"
    (shipped / "repairs" / "many.yaml").write_text("".join(cure.format(n=n) for n in range(400)))
    load_cached(shipped, None, cache)
    times = []
    for _ in range(5):
        begun = time.process_time()
        load_cached(shipped, None, cache)
        times.append(time.process_time() - begun)
    assert min(times) < 0.03
