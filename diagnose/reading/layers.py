"""Entries as they were written, and the shop's own layer laid over the shipped one."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

from diagnose.problems import KnowledgeError, Place, Problem
from diagnose.reading import source
from diagnose.reading.files import File, gather
from diagnose.reading.source import Node

Trail = tuple[str | int, ...]
"""Keys and list positions that lead from an entry to a value in it."""

NAMESPACES: Mapping[str, str] = {
    "conditions": "node",
    "causes": "node",
    "mechanisms": "node",
    "tests": "test",
    "symptoms": "test",
}
"""Kinds whose ids must differ from each other's; every other kind stands for itself."""

REPLACED = frozenset({"applies", "facts"})
"""Mappings that a shop replaces as a whole, as a gate is one statement."""


@dataclass(frozen=True, slots=True)
class Written:
    """One entry as it was written. system: the stem of its file under a folder, else empty."""

    kind: str
    id: str
    system: str
    layer: str
    node: Node

    @property
    def place(self) -> Place:
        """Return where the entry's id stands."""
        return Place(self.node.document.file, *self.node.key)

    def find(self, trail: Trail) -> Node:
        """Return the value a trail leads to; parts that were not written are passed over.

        A text leads to the item of a list that is that text.
        """
        node = self.node
        for part in trail:
            node = _step(node, part)
        return node

    def written_trail(self, trail: Trail) -> Trail:
        """Return the keys and positions of a trail that were written, without the others."""
        node, parts = self.node, []
        for part in trail:
            below = _step(node, part)
            if below is not node and (isinstance(part, int) or isinstance(node.content, dict)):
                parts.append(part)
            node = below
        return tuple(parts)

    def problem(self, trail: Trail, says: str, rule: str, write: str = "", *, key: bool = False) -> Problem:
        """Return a mistake at the value a trail leads to, or at its key."""
        return self.find(trail).problem(says, rule, write, key=key)


@dataclass(frozen=True, slots=True)
class Collected:
    """Entries by namespace and id, and what is wrong.

    unread: kinds of which a file could not be read. whole: nothing at all was lost on reading.
    doubled: entries left out because their id is taken.
    """

    entries: Mapping[tuple[str, str], Written]
    problems: tuple[Problem, ...]
    unread: frozenset[str]
    whole: bool
    doubled: tuple[Written, ...]


@dataclass(frozen=True, slots=True)
class Change:
    """One thing the shop's layer adds (old is None) or changes. path: kind, id and keys, joined by points."""

    path: str
    old: str | None
    new: str
    place: Place


def collect(files: Iterable[File]) -> Collected:
    """Read files into entries; a later layer is laid over an earlier one."""
    entries: dict[tuple[str, str], Written] = {}
    problems: list[Problem] = []
    unread: set[str] = set()
    doubled: list[Written] = []
    for file in files:
        top, wrong = source.read(file.data, file.shown)
        problems += wrong
        if top is None or not isinstance(top.content, dict):
            unread.add(file.kind)
            continue
        for name, node in top.content.items():
            entry = Written(file.kind, name, file.system, file.layer, node)
            where = _where(entry)
            known = entries.get(where)
            if known is None:
                entries[where] = entry
            elif known.kind == file.kind and known.layer != file.layer:
                entries[where] = replace(known, node=_laid_over(known.node, node), layer=file.layer)
            else:
                doubled.append(entry)
    whole = not problems
    problems += [_duplicate(entry, entries[_where(entry)]) for entry in doubled]
    return Collected(entries, tuple(problems), frozenset(unread), whole, tuple(doubled))


def changes(shipped: Path, shop: Path) -> tuple[Change, ...]:
    """Return what the shop's layer adds to the shipped knowledge and changes in it.

    Raises:
        KnowledgeError: A file of either folder cannot be read.
    """
    folders = gather(shipped), gather(shop, "shop")
    read = [collect(folder.files) for folder in folders]
    problems = [problem for folder in folders for problem in folder.problems]
    problems += [problem for part in read for problem in part.problems]
    if problems:
        raise KnowledgeError(problems)
    under, over = (part.entries for part in read)
    return tuple(
        change
        for where, entry in over.items()
        for change in _changed(under[where].node if where in under else None, entry.node, f"{entry.kind}.{entry.id}")
    )


def _where(entry: Written) -> tuple[str, str]:
    """Return namespace and id."""
    return NAMESPACES.get(entry.kind, entry.kind), entry.id


def _changed(old: Node | None, new: Node, path: str) -> Iterator[Change]:
    """Yield the differences between a value and what is laid over it."""
    pair = _mappings(old, new, path.rpartition(".")[2]) if old is not None else None
    if pair is not None:
        for key, value in pair[1].items():
            yield from _changed(pair[0].get(key), value, f"{path}.{key}")
    elif old is None or old.plain() != new.plain():
        yield Change(path, None if old is None else _flow(old), _flow(new), Place(new.document.file, *new.key))


def _flow(node: Node) -> str:
    """Return a value on one line."""
    if isinstance(node.content, dict):
        return "{" + ", ".join(f"{key}: {_flow(value)}" for key, value in node.content.items()) + "}"
    if isinstance(node.content, list):
        return "[" + ", ".join(map(_flow, node.content)) + "]"
    return node.content or ""


def _mappings(under: Node, over: Node, key: str) -> tuple[dict[str, Node], dict[str, Node]] | None:
    """Return both mappings where one is laid over the other key by key, None where it replaces the other."""
    if isinstance(under.content, dict) and isinstance(over.content, dict) and key not in REPLACED:
        return under.content, over.content
    return None


def _laid_over(under: Node, over: Node, key: str = "") -> Node:
    """Return one value laid over another: mappings key by key, everything else as a whole."""
    pair = _mappings(under, over, key)
    if pair is None:
        return over
    content = dict(pair[0])
    for name, node in pair[1].items():
        content[name] = _laid_over(content[name], node, name) if name in content else node
    if key == "outcomes":
        content = dict(sorted(content.items(), key=lambda item: _is_default(item[1])))
    return replace(under, content=content)


def _is_default(node: Node) -> bool:
    """Return whether an outcome is the default, which stays last when a shop adds outcomes."""
    if not isinstance(node.content, dict):
        return False
    default = node.content.get("default")
    return default is not None and default.content == "true"


def _step(node: Node, part: str | int) -> Node:
    """Return the value below a key, or the value itself where there is no such key."""
    if isinstance(node.content, dict):
        return node.content.get(str(part), node)
    if isinstance(node.content, list):
        if isinstance(part, int):
            return node.content[part] if part < len(node.content) else node
        return next((item for item in node.content if item.content == part), node)
    return node


def _duplicate(entry: Written, known: Written) -> Problem:
    """Return the mistake of an id that is taken."""
    says = f"{entry.id} is taken: {known.place} writes it under {known.kind}"
    write = "another id, or the keys of both in one entry" if entry.kind == known.kind else f"{entry.id}_{entry.kind}"
    return entry.problem((), says, "duplicate-id", write, key=True)
