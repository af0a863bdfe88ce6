"""A kept sheet as a YAML file: written to hand on, and read back with every mistake at its place."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from diagnose.figures import manual_figure
from diagnose.model import Knowledge
from diagnose.problems import KnowledgeError
from diagnose.reading.script.desk import Desk, opened
from diagnose.reading.source import Node

HEAD = "# The sheet of a bike: what its manual gives. Read it in with: diagnose sheet import FILE\n"

Body = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class WrittenSheet:
    """A sheet as a file holds it. figures: the bodies of `sheet` events."""

    name: str
    figures: tuple[Body, ...]


def sheet_yaml(name: str, figures: Iterable[Body]) -> str:
    """Return a sheet as a YAML file: its name, and each figure as the manual writes it with where it stands."""
    listed = {str(body["item"]): {"figure": body["text"], "from": body["source"]} for body in figures}
    text = yaml.safe_dump({"name": name, "figures": listed}, allow_unicode=True, sort_keys=False, width=100)
    return f"{HEAD}{text}"


def read_sheet(path: Path, knowledge: Knowledge) -> WrittenSheet:
    """Read a file as sheet_yaml writes it.

    Raises:
        KnowledgeError: the file cannot be read, or holds mistakes; all of them, each with its place.
    """
    top, desk = opened(path, "sheet", knowledge)
    sheet = _sheet(top, desk) if top else None
    if desk.problems or sheet is None:
        raise KnowledgeError(desk.problems)
    return sheet


def _sheet(top: Node, desk: Desk) -> WrittenSheet:
    keys = desk.mapping(top)
    desk.known_keys(keys, ("name", "figures"), "a sheet")
    for key, write in (
        ("name", "name: pressed-frame 125"),
        ("figures", "figures: {a value: {figure: ..., from: ...}}"),
    ):
        if key not in keys:
            desk.wrong(top, f"the sheet has no {key}", "missing-key", write)
    name = desk.needed(keys["name"]) if "name" in keys else ""
    return WrittenSheet(name, tuple(_figures(keys.get("figures"), desk)))


def _figures(node: Node | None, desk: Desk) -> Iterator[Body]:
    """Yield every figure as the body of a `sheet` event."""
    items = desk.knowledge.quantities
    for name, given in desk.mapping(node).items():
        keys = desk.mapping(given)
        desk.known_keys(keys, ("figure", "from"), name)
        texts = {key: desk.needed(keys[key]) for key in ("figure", "from") if key in keys}
        if name not in items:
            desk.unknown(given, "value", name, items, key=True)
        elif len(texts) < 2:
            write = '{figure: 0.3 to 0.4 mm, from: "workshop manual 1974, page 41"}'
            desk.wrong(given, f"{name} needs a figure and where it is from", "missing-key", write, key=True)
        elif all(texts.values()) and (body := desk.figure(keys["figure"], name, texts["figure"], manual_figure)):
            yield body | {"source": texts["from"]}
