"""Written entries to the values of diagnose/model; the shorthands of the format are expanded here."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from pydantic import ValidationError

from diagnose import model
from diagnose.model import ABSENT, PRESENT
from diagnose.problems import Problem
from diagnose.reading import schema
from diagnose.reading.draft import Draft
from diagnose.reading.layers import Collected, Trail, Written
from diagnose.reading.scalars import snake
from diagnose.reading.source import Node
from diagnose.reading.wording import no_mapping, no_snake, shape_problems, subject

Chance = float | Mapping[str, float]
Row = float | Mapping[str, Chance]

_GROUPS = {
    "facts": "facts",
    "mechanisms": "mechanisms",
    "conditions": "conditions",
    "causes": "causes",
    "symptoms": "tests",
    "tests": "tests",
    "repairs": "repairs",
    "access": "access",
    "complaints": "complaints",
    "cautions": "cautions",
    "sources": "sources",
    "quantities": "quantities",
}


def build(collected: Collected, version: str, missing: frozenset[str]) -> tuple[Draft, list[Problem]]:
    """Build what can be built.

    Args:
        collected: The entries as they were written.
        version: The hash over the content, kept in the knowledge.
        missing: Kinds of files that are not there.

    Returns:
        The draft for the checks, and the mistakes in the shape of entries.
    """
    problems: list[Problem] = []
    shaped: list[tuple[Written, schema.Raw]] = []
    broken: dict[str, set[str]] = {}
    mentioned: set[str] = set()
    for written in collected.entries.values():
        raw, wrong = _shaped(written)
        problems += wrong
        if raw is None:
            broken.setdefault(written.kind, set()).add(written.id)
            mentioned.update(_words(written.node))
        else:
            shaped.append((written, raw))
    for written in collected.doubled:
        broken.setdefault(written.kind, set()).add(written.id)
        mentioned.update(_words(written.node))
    builder = _Builder(shaped, problems)
    groups: dict[str, dict[str, Any]] = {group: {} for group in _GROUPS.values()}
    for written, raw in shaped:
        groups[_GROUPS[written.kind]][written.id] = builder.entry(written, raw)
    knowledge = model.Knowledge(**groups, version=version)
    names = {kind: frozenset(ids) for kind, ids in broken.items()}
    unread = collected.unread | missing
    whole = collected.whole and not missing
    return Draft(knowledge, collected.entries, names, unread, frozenset(mentioned), whole), problems


def _shaped(written: Written) -> tuple[schema.Raw | None, list[Problem]]:
    """Return the entry in its raw shape, or None, and what is wrong with it."""
    problems = list(_ids(written))
    if not isinstance(written.node.content, dict):
        return None, [*problems, no_mapping(written)]
    try:
        return schema.SHAPES[written.kind].model_validate(written.node.plain()), problems
    except ValidationError as error:
        return None, [*problems, *shape_problems(written, error)]


def _ids(written: Written) -> Iterator[Problem]:
    """Yield a mistake for every id the entry defines that is not lower_snake."""
    if not snake(written.id) or written.id[0].isdigit():
        yield no_snake(written, (), written.id)
    for key in ("options", "outcomes", "choices"):
        inner = written.find((key,)).content if written.find((key,)) is not written.node else None
        if isinstance(inner, dict):
            yield from (no_snake(written, (key, name), name) for name in inner if not snake(name))
    for key in ("levels", "system", "hazard"):
        found = written.find((key,))
        texts = found.content if isinstance(found.content, list) else [found]
        if found is not written.node:
            for node in texts:
                if isinstance(node.content, str) and node.content and not snake(node.content):
                    yield no_snake(written, (key, node.content), node.content, key=False)


def _words(node: Node) -> Iterator[str]:
    """Yield every key and text below a node."""
    if isinstance(node.content, dict):
        for key, inner in node.content.items():
            yield key
            yield from _words(inner)
    elif isinstance(node.content, list):
        for inner in node.content:
            yield from _words(inner)
    elif node.content:
        yield node.content


def _gate(raw: Mapping[str, tuple[str, ...]]) -> model.Gate:
    return {fact: frozenset(options) for fact, options in raw.items()}


def _common(written: Written, raw: schema.RawEntry | schema.RawSource) -> dict[str, Any]:
    """Return what every entry has."""
    layer = {"id": written.id, "name": raw.name, "basis": raw.basis}
    return {**layer, "place": written.place, "layer": written.layer}


def _work(written: Written, raw: schema.RawWork) -> dict[str, Any]:
    """Return what every piece of work has."""
    plain = ("minutes", "wait", "access", "tools", "steps", "cautions")
    own = {name: getattr(raw, name) for name in plain}
    own |= {"does": frozenset(raw.does), "leaves": raw.leaves, "kicks": raw.kicks, "each": raw.each}
    own |= {"routine": raw.routine}
    return {**_common(written, raw), **own, "applies": _gate(raw.applies), "needs": _gate(raw.needs)}


class _Builder:
    """Expands entries one by one; knows all levels and notes shorthands that do not fit."""

    def __init__(self, shaped: list[tuple[Written, schema.Raw]], problems: list[Problem]) -> None:
        self.problems = problems
        self.levels: dict[str, tuple[str, ...]] = {}
        for written, raw in shaped:
            if isinstance(raw, schema.RawCondition):
                self.levels[written.id] = raw.levels
        self.makers: Mapping[type[schema.Raw], Callable[[Written, Any], model.Entry]] = {
            schema.RawFact: _fact,
            schema.RawMechanism: _mechanism,
            schema.RawCause: self.cause,
            schema.RawCondition: self.condition,
            schema.RawSymptom: self.test,
            schema.RawTest: self.test,
            schema.RawRepair: _repair,
            schema.RawAccess: _access,
            schema.RawComplaint: self.complaint,
            schema.RawCaution: _caution,
            schema.RawSource: _source,
            schema.RawSheetItem: _sheet_item,
        }

    def entry(self, written: Written, raw: schema.Raw) -> model.Entry:
        """Return the value of one entry."""
        return self.makers[type(raw)](written, raw)

    def cause(self, written: Written, raw: schema.RawCause) -> model.Cause:
        """Return a cause with its links."""
        return model.Cause(
            **_common(written, raw),
            system=written.system,
            plain=raw.plain,
            applies=_gate(raw.applies),
            mechanism=raw.mechanism,
            prior=raw.prior,
            links=self.links(written, raw.leads_to),
            each=raw.each,
        )

    def condition(self, written: Written, raw: schema.RawCondition) -> model.Condition:
        """Return a condition with its leak, its links and its ANDs."""
        leak = {} if raw.leak is None else self.chances(written, ("leak",), raw.leak, written.id)
        all_of = [
            model.AllOf(
                parents=_gate(part.parents),
                chances=self.chances(written, ("all_of", index, "chances"), part.chances, written.id),
            )
            for index, part in enumerate(raw.all_of)
        ]
        return model.Condition(
            **_common(written, raw),
            system=raw.system,
            levels=raw.levels,
            level_names=raw.level_names,
            applies=_gate(raw.applies),
            leak=leak,
            leak_name=raw.leak_name,
            links=self.links(written, raw.leads_to),
            all_of=tuple(all_of),
            each=raw.each,
            stands_for=raw.stands_for,
            one_of=raw.one_of,
        )

    def test(self, written: Written, raw: schema.RawSymptom) -> model.Test:
        """Return a symptom or test with its ladder."""
        outcomes = [
            model.Outcome(
                id=name,
                name=rung.name,
                base=rung.base,
                drivers=self.drivers(written, ("outcomes", name, "drivers"), rung.drivers),
                default=rung.default,
                tell=rung.tell,
                complaint=rung.complaint,
                leaves=rung.leaves,
            )
            for name, rung in raw.outcomes.items()
        ]
        return model.Test(
            **_work(written, raw),
            system=written.system,
            symptom=written.kind == "symptoms",
            kind=raw.kind,
            ask=raw.ask,
            why=raw.why,
            outcomes=tuple(outcomes),
            doubt=raw.doubt,
            reading=None if raw.reading is None else _reading(raw.reading),
            removes=raw.removes,
            supplies=raw.supplies,
            put_back=raw.put_back,
            cannot=raw.cannot or model.NEVER,
            turning=raw.turning,
        )

    def complaint(self, written: Written, raw: schema.RawComplaint) -> model.Complaint:
        """Return a complaint with its drivers."""
        return model.Complaint(
            **_common(written, raw),
            says=raw.says,
            applies=_gate(raw.applies),
            drivers=self.drivers(written, ("drivers",), raw.drivers),
            base=raw.base,
            target=raw.target,
            excludes=raw.excludes,
            proof=None
            if raw.proof is None
            else model.Proof(minutes=raw.proof.minutes, step=raw.proof.step, cautions=raw.proof.cautions),
        )

    def links(self, written: Written, raw: Mapping[str, Row]) -> tuple[model.Link, ...]:
        """Return what an entry leads to, as full tables."""
        return tuple(
            model.Link(parent=written.id, child=child, table=self.table(written, ("leads_to", child), row, child))
            for child, row in raw.items()
        )

    def table(self, written: Written, trail: Trail, row: Row, child: str) -> model.Chances:
        """Return parent level -> child level -> probability."""
        levels = self.levels.get(written.id, (ABSENT, PRESENT))
        if len(levels) > 2:
            if isinstance(row, Mapping):
                return {level: self.chances(written, (*trail, level), one, child) for level, one in row.items()}
            says = f"{subject(written, trail)} is one number, but {written.id} has several levels"
            write = "{" + ", ".join(f"{level}: 0.5" for level in levels[1:]) + "}"
            self.problems.append(written.problem(trail, says, "levels-needed", write))
            return {}
        flat = row if not isinstance(row, Mapping) else {k: p for k, p in row.items() if isinstance(p, float)}
        if isinstance(row, Mapping) and isinstance(flat, Mapping) and len(flat) < len(row):
            says = f"{subject(written, trail)} is nested too deep: {written.id} has only two levels"
            write = f"{child}: the chance itself, or one for each level of {child}"
            self.problems.append(written.problem(trail, says, "levels-too-deep", write))
        return {levels[-1]: self.chances(written, trail, flat, child)}

    def drivers(self, written: Written, trail: Trail, raw: Mapping[str, Chance]) -> model.Chances:
        """Return node -> level -> probability."""
        return {node: self.chances(written, (*trail, node), chance, node) for node, chance in raw.items()}

    def chances(self, written: Written, trail: Trail, chance: Chance, node: str) -> Mapping[str, float]:
        """Return level of a node -> probability, of one number or of one for each level."""
        if isinstance(chance, Mapping):
            return dict(chance)
        levels = self.levels.get(node, (ABSENT, PRESENT))
        if len(levels) > 2:
            says = f"{subject(written, trail)} is one number, but {node} has several levels"
            write = "{" + ", ".join(f"{level}: {chance / (len(levels) - 1):.2g}" for level in levels[1:]) + "}"
            self.problems.append(written.problem(trail, says, "levels-needed", write))
        return {levels[-1]: chance}


def _fact(written: Written, raw: schema.RawFact) -> model.Fact:
    plain = ("name", "look", "implies", "share", "covers", "odds", "removes", "supplies", "after", "makes", "clears")
    options = {
        name: model.Option(id=name, **{key: getattr(option, key) for key in plain}, reach=_reach(option.reach))
        for name, option in raw.options.items()
    }
    return model.Fact(
        **_common(written, raw),
        ask=raw.ask,
        how=raw.how,
        kind=raw.kind,
        applies=_gate(raw.applies),
        assume=raw.assume,
        at_intake=raw.at_intake,
        options=options,
    )


def _reach(raw: schema.RawReach | None) -> model.Reach | None:
    if raw is None:
        return None
    does = frozenset(raw.does)
    return model.Reach(step=raw.step, minutes=raw.minutes, wait=raw.wait, does=does, cautions=raw.cautions)


def _mechanism(written: Written, raw: schema.RawMechanism) -> model.Mechanism:
    return model.Mechanism(**_common(written, raw), plain=raw.plain, prior=raw.prior, odds_ratio=raw.odds_ratio)


def _repair(written: Written, raw: schema.RawRepair) -> model.Repair:
    return model.Repair(
        **_work(written, raw),
        system=written.system,
        cures=raw.cures,
        parts=raw.parts,
        dud=raw.dud,
        check_after=raw.check_after,
    )


def _access(written: Written, raw: schema.RawAccess) -> model.Access:
    return model.Access(
        **_common(written, raw),
        applies=_gate(raw.applies),
        needs=raw.needs,
        open=raw.open,
        close=raw.close,
        tools=raw.tools,
        leaves=frozenset(raw.leaves),
        cautions=raw.cautions,
        cannot=raw.cannot or model.NEVER,
    )


def _caution(written: Written, raw: schema.RawCaution) -> model.Caution:
    return model.Caution(
        **_common(written, raw),
        say=raw.say,
        hazard=raw.hazard,
        applies=_gate(raw.applies),
        forbids=frozenset(raw.forbids),
        when=None if raw.when is None else _while(raw.when),
    )


def _while(raw: schema.RawWhile) -> model.While:
    return model.While(
        open=frozenset(raw.open),
        outcome=_gate(raw.outcome),
        not_done=raw.not_done,
        likely=raw.likely,
        cleared_by=raw.cleared_by,
        facts=_gate(raw.facts),
        isolated=raw.isolated,
        dead=raw.dead,
    )


def _source(written: Written, raw: schema.RawSource) -> model.Source:
    own = _common(written, raw)
    return model.Source(**own, kind=raw.kind, publisher=raw.publisher, address=raw.address)


def _reading(raw: schema.RawReading) -> model.Reading:
    limits = [
        model.Limit(
            applies=_gate(limit.applies),
            below=tuple(limit.below.items()),
            otherwise=limit.otherwise,
            basis=limit.basis,
        )
        for limit in raw.limits
    ]
    same = ("quantity", "unit", "ask", "sheet", "lower", "upper", "error", "error_share", "possible", "correct")
    return model.Reading(limits=tuple(limits), **{name: getattr(raw, name) for name in same})


def _sheet_item(written: Written, raw: schema.RawSheetItem) -> model.SheetItem:
    typical = [
        model.Typical(applies=_gate(usual.applies), low=usual.low, high=usual.high, basis=usual.basis)
        for usual in raw.typical
    ]
    same = ("group", "kind", "unit", "each", "possible", "choices", "low", "high", "differs", "note")
    own = {name: getattr(raw, name) for name in same}
    return model.SheetItem(**_common(written, raw), **own, applies=_gate(raw.applies), typical=tuple(typical))
