"""The way in: a folder of YAML, perhaps with a shop's own over it, to checked knowledge."""

from __future__ import annotations

from pathlib import Path

from diagnose.model import Knowledge
from diagnose.problems import KnowledgeError
from diagnose.reading.build import build
from diagnose.reading.checks import CHECKS
from diagnose.reading.files import content_version, gather, shipped_folder
from diagnose.reading.instances import with_instances
from diagnose.reading.layers import Change, changes, collect

__all__ = ["Change", "changes", "load", "shipped_folder"]


def load(shipped: Path, shop: Path | None = None) -> Knowledge:
    """Return the knowledge of a folder, with the shop's layer over it.

    Args:
        shipped: The folder that comes with the program; every kind of file must be there.
        shop: A folder of the same files. It adds entries, and overrides only the keys it gives of those
            that are there: mappings key by key; lists, texts and gates as a whole.

    Raises:
        KnowledgeError: Anything is wrong; it holds every mistake of all files.
    """
    folders = [gather(shipped)] + ([gather(shop, "shop")] if shop else [])
    files = [file for folder in folders for file in folder.files]
    collected = collect(files)
    missing = frozenset().union(*(folder.missing for folder in folders))
    draft, shape_problems = build(collected, content_version(files), missing)
    problems = {problem for folder in folders for problem in folder.problems}
    problems.update(collected.problems, shape_problems)
    for check in CHECKS:
        problems.update(check(draft))
    if problems:
        raise KnowledgeError(sorted(problems))
    return with_instances(draft.knowledge)
