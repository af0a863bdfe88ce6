"""The shape of an entry as it is written, for every kind of file; what it means is no matter here."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, get_args

from pydantic import BaseModel, BeforeValidator, ConfigDict

from diagnose.model import Correction, SheetGroup, SheetKind
from diagnose.reading.scalars import (
    Amount,
    ByNode,
    Chance,
    Count,
    Drivers,
    Factor,
    Flag,
    Gated,
    Levels,
    Links,
    Number,
    OneOrMore,
    Prior,
    Probability,
    Ratio,
    Sources,
    Span,
    Text,
    Texts,
    listed,
    mapping,
    one_of,
    one_or_more,
)

MAP, LIST = BeforeValidator(mapping), BeforeValidator(listed)

Words = Annotated[dict[str, Text], MAP]
Each = Annotated[Literal["", "cylinder", "carburettor"], one_of("cylinder", "carburettor")]


class Raw(BaseModel):
    """Anything written as a mapping of known keys; other keys are mistakes."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class RawEntry(Raw):
    """What every entry has."""

    name: Text
    basis: Sources


class RawReach(Raw):
    """How the bike is brought to stand so."""

    step: Text
    minutes: Amount = 0.0
    wait: Amount = 0.0
    does: Texts = ()
    cautions: Texts = ()


class RawOption(Raw):
    """One answer to a fact's question."""

    name: Text
    look: Text = ""
    implies: Words = {}
    share: Probability = 0.0
    covers: Texts = ()
    odds: Annotated[dict[str, Factor], MAP] = {}
    removes: Texts = ()
    supplies: Texts = ()
    after: Count = 0
    makes: ByNode = {}
    clears: ByNode = {}
    reach: Annotated[RawReach, MAP] | None = None


class RawFact(RawEntry):
    """An entry of facts.yaml."""

    ask: Text
    how: Text = ""
    kind: Annotated[Literal["bike", "history", "now"], one_of("bike", "history", "now")] = "bike"
    applies: Gated = {}
    assume: Text = ""
    at_intake: Flag = True
    options: Annotated[dict[str, Annotated[RawOption, MAP]], MAP]


class RawMechanism(RawEntry):
    """An entry of mechanisms.yaml."""

    plain: Text = ""
    prior: Prior
    odds_ratio: Ratio


class RawCause(RawEntry):
    """An entry of causes/."""

    plain: Text
    applies: Gated = {}
    mechanism: Text | None = None
    prior: Prior
    leads_to: Links = {}
    each: Each = ""


class RawAllOf(Raw):
    """Parents that are needed together."""

    parents: Gated
    chances: Chance


class RawCondition(RawEntry):
    """An entry of conditions.yaml."""

    system: Text
    levels: Levels = ("absent", "present")
    level_names: Words = {}
    applies: Gated = {}
    leak: Chance | None = None
    leak_name: Text = ""
    leads_to: Links = {}
    all_of: Annotated[tuple[Annotated[RawAllOf, MAP], ...], LIST] = ()
    each: Each = ""
    stands_for: Flag = False
    one_of: Text = ""


class RawOutcome(Raw):
    """One rung of a ladder."""

    name: Text
    base: Probability = 0.0
    drivers: Drivers = {}
    default: Flag = False
    tell: Text = ""
    complaint: Flag = False
    leaves: Words = {}


class RawLimit(Raw):
    """One general range of a reading."""

    applies: Gated = {}
    below: Annotated[dict[str, Number], MAP]
    otherwise: Text
    basis: Sources


class RawReading(Raw):
    """How a test is measured."""

    quantity: Text
    unit: Text = ""
    ask: Text
    limits: Annotated[tuple[Annotated[RawLimit, MAP], ...], LIST]
    sheet: Text = ""
    lower: Text = ""
    upper: Text = ""
    error: Amount = 0.0
    error_share: Amount = 0.0
    possible: Span | None = None
    correct: Annotated[
        tuple[Annotated[Correction, one_of(*get_args(Correction))], ...], BeforeValidator(one_or_more)
    ] = ()


class RawTypical(Raw):
    """What is usual for a value of the sheet."""

    applies: Gated = {}
    low: Number | None = None
    high: Number | None = None
    basis: Sources


class RawSheetItem(RawEntry):
    """An entry of quantities.yaml."""

    group: Annotated[SheetGroup, one_of(*get_args(SheetGroup))]
    kind: Annotated[SheetKind, one_of(*get_args(SheetKind))]
    unit: Text = ""
    applies: Gated = {}
    each: Each = ""
    typical: Annotated[tuple[Annotated[RawTypical, MAP], ...], LIST] = ()
    possible: Span | None = None
    choices: Words = {}
    low: Texts = ()
    high: Texts = ()
    differs: Texts = ()
    note: Text = ""


class RawWork(RawEntry):
    """What has to be done by hand."""

    applies: Gated = {}
    minutes: Amount = 0.0
    wait: Amount = 0.0
    access: Texts = ()
    tools: Texts = ()
    cautions: Texts = ()
    does: Texts = ()
    steps: Texts = ()
    needs: Gated = {}
    leaves: Words = {}
    kicks: Count = 0
    each: Each = ""
    routine: Count = 0


TEST_KINDS = ("ask", "look", "smell", "listen", "feel", "measure", "swap", "run")


class RawSymptom(RawWork):
    """An entry of symptoms/."""

    ask: Text
    why: Text
    kind: Annotated[
        Literal["ask", "look", "smell", "listen", "feel", "measure", "swap", "run"],
        one_of(*TEST_KINDS),
    ]
    outcomes: Annotated[dict[str, Annotated[RawOutcome, MAP]], MAP]
    doubt: Text = ""
    reading: Annotated[RawReading, MAP] | None = None
    removes: Texts = ()
    supplies: Texts = ()
    put_back: Texts = ()
    cannot: Prior | None = None
    turning: Flag = False


class RawTest(RawSymptom):
    """An entry of tests/: the same, but it takes time and has steps."""

    minutes: Amount
    steps: Texts


class RawRepair(RawWork):
    """An entry of repairs/."""

    minutes: Amount
    steps: Texts
    cures: ByNode
    dud: ByNode = {}
    parts: Amount = 0.0
    check_after: Texts = ()


class RawAccess(RawEntry):
    """An entry of access.yaml."""

    needs: Texts = ()
    open: Amount
    close: Amount
    tools: Texts = ()
    leaves: Texts = ()
    cautions: Texts = ()
    applies: Gated = {}
    cannot: Prior | None = None


class RawProof(Raw):
    """What a try-out must do besides for a complaint to show."""

    minutes: Amount
    step: Text
    cautions: Texts = ()


class RawComplaint(RawEntry):
    """An entry of complaints.yaml."""

    says: Text
    applies: Gated = {}
    drivers: Drivers = {}
    base: Probability
    target: Texts = ()
    excludes: Texts = ()
    proof: Annotated[RawProof, MAP] | None = None


class RawWhile(Raw):
    """When a caution forbids something."""

    open: Texts = ()
    outcome: Annotated[dict[str, OneOrMore], MAP] = {}
    not_done: Texts = ()
    likely: ByNode = {}
    cleared_by: Texts = ()
    facts: Gated = {}
    isolated: Flag = False
    dead: Flag = False


class RawCaution(RawEntry):
    """An entry of cautions.yaml."""

    say: Text
    hazard: Text
    applies: Gated = {}
    forbids: Texts = ()
    when: Annotated[RawWhile, MAP] | None = None


class RawSource(Raw):
    """An entry of sources.yaml."""

    name: Text
    kind: Annotated[Literal["published", "common_practice", "memory"], one_of("published", "common_practice", "memory")]
    basis: Texts = ()
    publisher: Text = ""
    address: Text = ""


SHAPES: Mapping[str, type[Raw]] = {
    "facts": RawFact,
    "mechanisms": RawMechanism,
    "conditions": RawCondition,
    "access": RawAccess,
    "complaints": RawComplaint,
    "cautions": RawCaution,
    "sources": RawSource,
    "quantities": RawSheetItem,
    "causes": RawCause,
    "symptoms": RawSymptom,
    "tests": RawTest,
    "repairs": RawRepair,
}
"""Kind of file -> shape of its entries."""

INNER: Mapping[str, type[Raw]] = {
    "options": RawOption,
    "all_of": RawAllOf,
    "outcomes": RawOutcome,
    "reading": RawReading,
    "limits": RawLimit,
    "typical": RawTypical,
    "when": RawWhile,
    "reach": RawReach,
}
"""Key -> shape of what is written below it."""
