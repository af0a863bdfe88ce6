"""The values everything else speaks of: what the knowledge holds, frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from diagnose.problems import Place

CONTEXTS = ("lately", "year", "years")
"""How long the bike stood: ran within weeks, about a year, several years. Index into every prior."""

NEVER = (0.0, 0.0, 0.0)
"""A chance by CONTEXTS of what the book does not reckon with."""

ABSENT, PRESENT = "absent", "present"
"""The two levels of a cause; of a condition without levels of its own as well."""

BEHAVIOUR = "behaviour"
"""The system of the conditions that are what the bike does: two levels, and nothing comes of them."""

OR = "|"
"""Between the options that a fact may have, where only that much was told."""

Gate = Mapping[str, frozenset[str]]
"""Fact id -> the options that let the entry apply. All facts must agree; empty means always."""

Chances = Mapping[str, Mapping[str, float]]
"""Node id -> level of that node -> probability."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Entry:
    """What every entry of the knowledge has. basis: ids in sources.yaml; of: the entry it is one side of, on a twin."""

    id: str
    name: str
    basis: tuple[str, ...]
    place: Place = field(compare=False)
    layer: str = field(default="shipped", compare=False)
    of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reach:
    """How the bike is brought to stand so: minutes of work, minutes of waiting, what to do, and the dangers of it."""

    step: str
    minutes: float = 0.0
    wait: float = 0.0
    does: frozenset[str] = frozenset()
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """One answer to a fact's question. odds: factor on the odds of a mechanism or cause.

    share: of all bikes of whom the fact was not told, how many are so; all options of a fact have one, or none has.
    covers: it says only that the bike is one of these other options.

    Only of a fact of the kind now: removes, supplies: causes cut out and conditions held healthy while it stands so;
    after: it stands so from that many kicks on; makes: cause -> P(it comes about each time work kicks it so far);
    clears: cause -> P(gone once work leaves it so); reach: how it is brought to stand so, None where nobody can.
    """

    id: str
    name: str
    look: str = ""
    implies: Mapping[str, str] = field(default_factory=dict)
    share: float = 0.0
    covers: tuple[str, ...] = ()
    odds: Mapping[str, float] = field(default_factory=dict)
    removes: tuple[str, ...] = ()
    supplies: tuple[str, ...] = ()
    after: int = 0
    makes: Mapping[str, float] = field(default_factory=dict)
    clears: Mapping[str, float] = field(default_factory=dict)
    reach: Reach | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Fact(Entry):
    """Something true of the bike or its history, found by asking or looking, never by model name.

    kind now: how it stands now, which work changes (Work.leaves) and needs (Work.needs); it comes in at the first
    option. Where options have `after` the kicks since the first one was reached say how it stands.
    assume: the option that is taken for true until another is told; at_intake: whether the interview asks it at the
    beginning.
    """

    ask: str
    how: str = ""
    kind: Literal["bike", "history", "now"] = "bike"
    applies: Gate = field(default_factory=dict)
    options: Mapping[str, Option] = field(default_factory=dict)
    assume: str = ""
    at_intake: bool = True

    @property
    def counts_kicks(self) -> bool:
        """Whether kicks say how it stands."""
        return any(option.after for option in self.options.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Mechanism(Entry):
    """A hidden common root of several causes. prior by CONTEXTS; odds_ratio of its causes, on against off."""

    plain: str = ""
    prior: tuple[float, float, float]
    odds_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """What a parent alone, leak off, does to a condition: parent level -> child level -> probability."""

    parent: str
    child: str
    table: Chances


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause(Entry):
    """A fault that is present or not. prior by CONTEXTS: of such a bike, before anybody complains of it.

    each: cylinder or carburettor, where a twin has it once for each (reading/instances.py).
    """

    system: str
    plain: str
    applies: Gate
    mechanism: str | None
    prior: tuple[float, float, float]
    links: tuple[Link, ...]
    each: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class AllOf:
    """An AND: every parent at one of the given levels -> the condition's level with this probability."""

    parents: Mapping[str, frozenset[str]]
    chances: Mapping[str, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Condition(Entry):
    """A hidden in-between state. levels: healthy first. leak: P(level | no parent does anything), shown as a cause.

    each: as of a cause. stands_for: of what one cylinder of a twin does: its levels but the first are behaviours that
    the bike shows when no cylinder does better. one_of: a condition like that; this one comes about when one cylinder
    stands at its first level and the other does not.
    """

    system: str
    levels: tuple[str, ...]
    level_names: Mapping[str, str]
    applies: Gate
    leak: Mapping[str, float]
    leak_name: str
    links: tuple[Link, ...]
    all_of: tuple[AllOf, ...] = ()
    each: str = ""
    stands_for: bool = False
    one_of: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Outcome:
    """One rung of a ladder. drivers: P(this rung fires | that node at that level). base: false alarm.

    complaint: of the try-out: what the owner reported is still there, and it takes his complaint's proof to show it.
    leaves: how the bike stands after it, beside what the work itself leaves.
    """

    id: str
    name: str
    base: float = 0.0
    drivers: Chances = field(default_factory=dict)
    default: bool = False
    tell: str = ""
    complaint: bool = False
    leaves: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A general range for a reading: the first threshold the value lies below names the outcome, else `otherwise`."""

    applies: Gate
    below: tuple[tuple[str, float], ...]
    otherwise: str
    basis: tuple[str, ...]


Correction = Literal["", "sea_level_pressure", "gauge_and_hose", "copper_20c", "spark_density"]
"""What is reckoned into a reading before it is judged; the sums are in trade/."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """How a test is measured. unit: the unit of the limits and of every other figure here.

    sheet: the value of the bike's own sheet that this measures; lower, upper: the outcomes whose `below` the sheet's
    lower and upper limit replaces. error: of the usual instrument; error_share: the same as a share of the reading, of
    which the larger counts. possible: outside it the figure is absurd. correct: what is reckoned in first.
    """

    quantity: str
    unit: str
    ask: str
    limits: tuple[Limit, ...]
    sheet: str = ""
    lower: str = ""
    upper: str = ""
    error: float = 0.0
    error_share: float = 0.0
    possible: tuple[float, float] | None = None
    correct: Correction = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Typical:
    """What is usual, in the unit of its item; shown beside the sheet and never a limit. None: open on that side."""

    applies: Gate
    low: float | None
    high: float | None
    basis: tuple[str, ...]


SheetGroup = Literal["identity", "ignition", "fuel", "engine", "electrical", "chassis"]
SheetKind = Literal["quantity", "number", "text", "choice"]


@dataclass(frozen=True, slots=True, kw_only=True)
class SheetItem(Entry):
    """One value of a bike's own sheet: what its manual gives, as it was found, as it was set.

    unit: of a quantity, none for the other kinds. choices: of the kind choice: word -> in plain words. each: as of a
    cause; the manual's figure is one, as found and as set go by side. possible: outside it a figure is absurd. low,
    high, differs: the causes that a value under, over or other than the manual's points to.
    """

    group: SheetGroup
    kind: SheetKind
    unit: str = ""
    applies: Gate = field(default_factory=dict)
    each: str = ""
    typical: tuple[Typical, ...] = ()
    possible: tuple[float, float] | None = None
    choices: Mapping[str, str] = field(default_factory=dict)
    low: tuple[str, ...] = ()
    high: tuple[str, ...] = ()
    differs: tuple[str, ...] = ()
    note: str = ""

    @property
    def measured(self) -> bool:
        """Whether its value is a figure."""
        return self.kind in ("quantity", "number")


@dataclass(frozen=True, slots=True, kw_only=True)
class Work(Entry):
    """What has to be done by hand: minutes without access, the access it needs, its dangers.

    needs, leaves: how the bike must stand for it and stands after it, facts of the kind now. kicks: how many, plug in.
    each: as of a cause. routine: its place in the round of jobs on a bike that has stood, 0 where it has none.
    """

    applies: Gate = field(default_factory=dict)
    minutes: float = 0.0
    wait: float = 0.0
    access: tuple[str, ...] = ()
    tools: tuple[str, ...] = ()
    steps: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    does: frozenset[str] = frozenset()
    needs: Gate = field(default_factory=dict)
    leaves: Mapping[str, str] = field(default_factory=dict)
    kicks: int = 0
    each: str = ""
    routine: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Test(Work):
    """A symptom (free, a question or a look) or a test (costs minutes): a ladder of outcomes.

    The first outcome whose drivers fire wins; the last is the default. removes: causes cut out of
    the bike while it is done; supplies: conditions held healthy while it is done. put_back: how that is undone;
    with it the bike is left so until somebody does. cannot: P(it turns out that it cannot be done), by CONTEXTS.
    """

    system: str
    symptom: bool
    kind: str
    why: str
    outcomes: tuple[Outcome, ...]
    ask: str = ""
    doubt: str = ""
    reading: Reading | None = None
    removes: tuple[str, ...] = ()
    supplies: tuple[str, ...] = ()
    put_back: tuple[str, ...] = ()
    cannot: tuple[float, float, float] = NEVER

    @property
    def drivers(self) -> frozenset[str]:
        """Causes and conditions that can make some outcome fire."""
        return frozenset(driver for outcome in self.outcomes for driver in outcome.drivers)

    def outcome(self, outcome_id: str) -> Outcome:
        """Return the outcome of that id. Raises KeyError."""
        for outcome in self.outcomes:
            if outcome.id == outcome_id:
                return outcome
        raise KeyError(outcome_id)


@dataclass(frozen=True, slots=True, kw_only=True)
class Repair(Work):
    """Work that removes causes. cures: P(gone afterwards | was present). dud: P(present afterwards | was not)."""

    system: str
    cures: Mapping[str, float]
    parts: float = 0.0
    dud: Mapping[str, float] = field(default_factory=dict)
    check_after: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Access(Entry):
    """Something taken off or opened. Minutes to open and to close again, without what it needs first.

    cannot: P(it is seized and does not come off without damage), by CONTEXTS.
    """

    applies: Gate
    needs: tuple[str, ...]
    open: float
    close: float
    tools: tuple[str, ...] = ()
    leaves: frozenset[str] = frozenset()
    cautions: tuple[str, ...] = ()
    cannot: tuple[float, float, float] = NEVER


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """What a try-out must do besides for a complaint to come back if it is still there."""

    minutes: float
    step: str
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Complaint(Entry):
    """What the owner reports: a noisy view of behaviours.

    target: the conditions that must be healthy when done. excludes: what the bike did not do on arrival,
    or the owner would have said something else. proof: where a try-out alone does not show every target.
    """

    says: str
    applies: Gate
    drivers: Chances
    base: float
    target: tuple[str, ...]
    excludes: tuple[str, ...] = ()
    proof: Proof | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class While:
    """When a caution forbids something; every key that is given must hold.

    open: tags left by open access (such as fuel_open). outcome: test -> outcomes that were seen.
    not_done: tests of which none has been answered yet. likely: condition -> probability of not healthy,
    until one of `cleared_by` has been answered with its default outcome. facts: a gate. isolated: something
    is still unplugged or bypassed, and starting so has not been accepted. dead: the bike does not start, by its
    complaint or the last try-out.
    """

    open: frozenset[str] = frozenset()
    outcome: Mapping[str, frozenset[str]] = field(default_factory=dict)
    not_done: tuple[str, ...] = ()
    likely: Mapping[str, float] = field(default_factory=dict)
    cleared_by: tuple[str, ...] = ()
    facts: Gate = field(default_factory=dict)
    isolated: bool = False
    dead: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution(Entry):
    """A danger, said at the step itself. forbids: activities (Work.does) that are locked while `when` holds."""

    say: str
    hazard: str
    applies: Gate = field(default_factory=dict)
    forbids: frozenset[str] = frozenset()
    when: While | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Source(Entry):
    """Where a figure or fact comes from. kind: published, common_practice or memory."""

    kind: Literal["published", "common_practice", "memory"]
    publisher: str = ""
    address: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, repr=False)
class Knowledge:
    """All of it, checked. Every mapping goes by id, in the order of the files."""

    facts: Mapping[str, Fact]
    mechanisms: Mapping[str, Mechanism]
    conditions: Mapping[str, Condition]
    causes: Mapping[str, Cause]
    tests: Mapping[str, Test]
    repairs: Mapping[str, Repair]
    access: Mapping[str, Access]
    complaints: Mapping[str, Complaint]
    cautions: Mapping[str, Caution]
    sources: Mapping[str, Source]
    quantities: Mapping[str, SheetItem] = field(default_factory=dict)
    version: str
    """Hash of the content, kept with every job."""

    @property
    def now(self) -> dict[str, Fact]:
        """The facts of how the bike stands now."""
        return {fact.id: fact for fact in self.facts.values() if fact.kind == "now"}

    def __repr__(self) -> str:
        """Return its version; the content would fill pages."""
        return f"Knowledge({self.version})"


def gate_state(gate: Gate, facts: Mapping[str, str]) -> bool | None:
    """Return whether an entry applies to a bike: True, False, or None where a fact is not known.

    >>> gate_state({"strokes": frozenset({"4"})}, {"strokes": "2"})
    False
    >>> gate_state({"strokes": frozenset({"4"})}, {}) is None
    True
    >>> gate_state({"tap": frozenset({"vacuum"})}, {"tap": "gravity|vacuum"}) is None
    True
    """
    told = [(options, frozenset(facts[fact].split(OR))) for fact, options in gate.items() if fact in facts]
    if not all(options & one_of for options, one_of in told):
        return False
    return True if len(told) == len(gate) and all(one_of <= options for options, one_of in told) else None


def share(gate: Gate, facts: Mapping[str, str], known: Mapping[str, Fact]) -> float:
    """Return how many of the bikes with these facts a gate lets through, by the shares of the facts not told.

    1 where all are told, or where none of those that are not has shares.
    """
    part = 1.0
    for fact, allowed in gate.items():
        if fact in known and (fact not in facts or OR in facts[fact]):
            among = facts[fact].split(OR) if fact in facts else known[fact].options
            shares = {option: known[fact].options[option].share for option in among}
            if any(shares.values()):
                part *= sum(p for option, p in shares.items() if option in allowed) / sum(shares.values())
    return part


def may_apply(gate: Gate, facts: Mapping[str, str]) -> bool:
    """Return False only where a known fact rules the entry out.

    >>> may_apply({"strokes": frozenset({"4"})}, {})
    True
    """
    return gate_state(gate, facts) is not False
