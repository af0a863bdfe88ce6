"""Which files make up the knowledge, their bytes and the hash over them. Needs no YAML library."""

from __future__ import annotations

import difflib
import hashlib
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from diagnose.problems import Place, Problem

SINGLE = ("facts", "mechanisms", "conditions", "access", "complaints", "cautions", "sources", "quantities")
"""Kinds of entries that are one file each."""

BY_SYSTEM = ("causes", "symptoms", "tests", "repairs")
"""Kinds of entries that are a folder with one file for each system."""

ORDER = SINGLE + BY_SYSTEM
"""All kinds, in the order they are read in."""

MAX_BYTES = 4_000_000

_FILE_STEM = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")


@dataclass(frozen=True, slots=True)
class File:
    """One file as it was found. shown: the name in messages; system: the file's stem under a folder."""

    shown: str
    kind: str
    system: str
    layer: str
    data: bytes


@dataclass(frozen=True, slots=True)
class Gathered:
    """The files of one folder and what is wrong with the folder. missing: kinds that were not read at all."""

    files: tuple[File, ...]
    problems: tuple[Problem, ...]
    missing: frozenset[str]


def shipped_folder() -> Path:
    """Return the folder of the knowledge that comes with the program."""
    from importlib.resources import files

    inside = Path(str(files("diagnose"))) / "knowledge"
    return inside if inside.is_dir() else inside.parent.parent / "knowledge"


def gather(folder: Path, layer: str = "shipped") -> Gathered:
    """Read the bytes of every file of the knowledge in a folder; nothing is parsed.

    Args:
        folder: The folder with facts.yaml, causes/ and so on.
        layer: "shipped", where every kind must be there, or "shop", where any may be left out.
    """
    if not folder.is_dir():
        problem = Problem(
            Place(str(folder)),
            "this folder of knowledge is not there",
            "missing-folder",
            "the path of a folder that holds facts.yaml, conditions.yaml, causes/ and the rest",
        )
        return Gathered((), (problem,), frozenset(ORDER))
    read: list[File] = []
    problems: list[Problem] = []
    failed: set[str] = set()
    for found in _listed(folder, folder.resolve().name, layer):
        if isinstance(found, Problem):
            problems.append(found)
            continue
        path, file = found
        try:
            read.append(File(file.shown, file.kind, file.system, layer, read_bytes(path)))
        except OSError as error:
            problems.append(unreadable(file.shown, error))
            failed.add(file.kind)
    absent = {kind for kind in ORDER if layer == "shipped"} - {file.kind for file in read} - failed
    problems.extend(_missing(folder.resolve().name, kind) for kind in sorted(absent))
    read.sort(key=lambda file: ORDER.index(file.kind))
    return Gathered(tuple(read), tuple(problems), frozenset(absent | failed))


def read_bytes(path: Path) -> bytes:
    """Return the file's bytes, at most one more than may be read as knowledge. Raises OSError."""
    with path.open("rb") as file:
        return file.read(MAX_BYTES + 1)


def unreadable(shown: str, error: OSError) -> Problem:
    """Return the mistake of a file that the system does not let us read."""
    reason = error.strerror or "the system gives no reason"
    return Problem(
        Place(shown),
        f"this file cannot be read: {reason}",
        "unreadable-file",
        "a plain file that you are allowed to read",
    )


def content_version(files: Iterable[File]) -> str:
    """Return the hash over names and contents, 16 hex digits; kept with every job."""
    digest = hashlib.sha256()
    for file in files:
        head = f"{file.layer}/{file.kind}/{file.system}:{len(file.data)}\n"
        digest.update(head.encode())
        digest.update(file.data)
    return digest.hexdigest()[:16]


def nearest(word: str, known: Iterable[str]) -> str:
    """Return the known word that looks most like this one, or an empty text.

    >>> nearest("pilot_jet_bloked", ["main_jet_blocked", "pilot_jet_blocked"])
    'pilot_jet_blocked'
    """
    words = list(known)
    close = difflib.get_close_matches(word[:200], words, n=1, cutoff=0.6)
    longer = [other for other in words if len(word) > 2 and other.startswith(word)]
    return next(iter(close + longer), "")


def _listed(folder: Path, shown: str, layer: str) -> Iterator[tuple[Path, File] | Problem]:
    """Yield every file that belongs to the knowledge, and a mistake for each that does not."""
    for path in _visible(folder):
        if path.is_dir():
            if path.name in BY_SYSTEM:
                for inner in _visible(path):
                    yield from _one(inner, path.name, inner.stem, f"{shown}/{path.name}/{inner.name}", layer)
            elif close := nearest(path.name, BY_SYSTEM):
                says = f"{path.name} is no folder of the knowledge"
                yield Problem(Place(f"{shown}/{path.name}"), says, "stray-file", close)
        else:
            yield from _one(path, path.stem, "", f"{shown}/{path.name}", layer)


def _one(path: Path, kind: str, system: str, shown: str, layer: str) -> Iterator[tuple[Path, File] | Problem]:
    """Yield the file, or what is wrong with its name; files that are no YAML are left alone."""
    if path.suffix.lower() not in (".yaml", ".yml"):
        return
    if path.suffix != ".yaml" or (system and not _FILE_STEM.fullmatch(system)):
        name = re.sub(r"[^a-z0-9]+", "_", path.stem.lower()).strip("_") or "fuel"
        says = "a file of the knowledge is named in small letters, digits and _, and ends in .yaml; "
        says += f"this is {path.name}"
        yield Problem(Place(shown), says, "file-name", f"{name}.yaml")
    elif not system and kind in BY_SYSTEM:
        says = f"{kind} are written by system, in the folder {kind}/"
        yield Problem(Place(shown), says, "stray-file", f"{kind}/fuel.yaml, {kind}/spark.yaml and so on")
    elif not system and kind not in SINGLE:
        close = nearest(kind, SINGLE)
        write = f"{close}.yaml" if close else "one of " + ", ".join(f"{name}.yaml" for name in SINGLE)
        yield Problem(Place(shown), f"{path.name} is no file of the knowledge", "stray-file", write)
    else:
        yield path, File(shown, kind, system, layer, b"")


def _visible(folder: Path) -> list[Path]:
    """Return what a folder holds, sorted by name, without hidden files and folders of the system."""
    try:
        return sorted(path for path in folder.iterdir() if path.name[0] not in "._~#")
    except OSError:
        return []


def _missing(shown: str, kind: str) -> Problem:
    """Return the mistake of a kind that the shipped knowledge lacks."""
    if kind in SINGLE:
        says, write = f"{kind}.yaml is missing", f"{kind}.yaml with at least one entry"
        return Problem(Place(f"{shown}/{kind}.yaml"), says, "missing-file", write)
    says, write = f"no file of {kind} is there", f"{kind}/fuel.yaml or the like, with at least one entry"
    return Problem(Place(f"{shown}/{kind}"), says, "missing-file", write)
