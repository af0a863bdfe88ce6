"""Every mistake an author can make: a small folder laid over a good one, and the exact message it must give.

A folder holds the files that differ from `_base`, `_shop` the shop's layer if there is one, `remove.txt` the
files to take away, and `expected.txt` the whole message.
"""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from diagnose.problems import KnowledgeError
from diagnose.reading.load import load

HERE = Path(__file__).parent
MISTAKES = sorted(path.name for path in HERE.iterdir() if (path / "expected.txt").is_file())
NOT_KNOWLEDGE = ("expected.txt", "remove.txt", "_shop")


def laid_out(mistake: str, tmp_path: Path) -> tuple[Path, Path | None]:
    """Return the folder of knowledge with the mistake in it, and the shop's folder if the mistake has one."""
    shipped, folder = tmp_path / "knowledge", HERE / mistake
    shutil.copytree(HERE / "_base", shipped)
    shutil.copytree(folder, shipped, dirs_exist_ok=True, ignore=shutil.ignore_patterns(*NOT_KNOWLEDGE))
    if (folder / "remove.txt").is_file():
        for name in (folder / "remove.txt").read_text().split():
            (shipped / name).unlink()
    if not (folder / "_shop").is_dir():
        return shipped, None
    return shipped, Path(shutil.copytree(folder / "_shop", tmp_path / "shop"))


@pytest.mark.parametrize("mistake", MISTAKES)
def test_the_message_is_exact(mistake: str, tmp_path: Path) -> None:
    """The message names place, mistake and rule, shows the line, and says what to write."""
    shipped, shop = laid_out(mistake, tmp_path)
    with pytest.raises(KnowledgeError) as caught:
        load(shipped, shop)
    assert f"{caught.value}\n" == (HERE / mistake / "expected.txt").read_text(encoding="utf-8")


def test_there_are_many_mistakes_and_the_base_has_none(tmp_path: Path) -> None:
    """At least forty rules are broken on purpose, and the folder they are laid over is good."""
    rules = set()
    for mistake in MISTAKES:
        rules |= set(
            re.findall(r"\[([a-z-]+)\]$", (HERE / mistake / "expected.txt").read_text("utf-8"), re.MULTILINE)
        )
    assert len(rules) >= 40
    shipped = tmp_path / "knowledge"
    shutil.copytree(HERE / "_base", shipped)
    assert list(load(shipped).causes) == ["pilot_jet_blocked", "coil_dead"]
