"""One step of a scripted job to the events it stands for."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any, get_args

from diagnose.events import ENDED, Event, Kind
from diagnose.model import Test
from diagnose.reading.files import nearest
from diagnose.reading.script.desk import Desk, listed
from diagnose.reading.script.sheet import BESIDE, manual_step, measured_step
from diagnose.reading.source import Node
from diagnose.tools import known_tools
from diagnose.units import UNITS, kind_of, units_of

TRY_OUT = "try_to_start"
"""The test of which a step `try_out` names the outcome."""

YES_NO = {"yes": True, "no": False}

FOUND = ("broken", "sound", "not_seen")


def step_events(node: Node, desk: Desk) -> Iterator[Event]:
    """Yield the events of one step; none where a mistake was noted."""
    if node.content == "undo":
        yield Event("undo")
        return
    keys = node.content if isinstance(node.content, dict) else {}
    mains = [key for key in keys if key in _STEPS]
    if len(mains) != 1:
        _not_one_main(node, keys, mains, desk)
        return
    main = mains[0]
    make, extra = _STEPS[main]
    desk.known_keys(keys, (main, *extra), f"a step {main}")
    before = len(desk.problems)
    events = list(make(main, keys, desk))
    if len(desk.problems) == before:
        yield from events


def _not_one_main(node: Node, keys: Mapping[str, Node], mains: list[str], desk: Desk) -> None:
    """Note a step that says nothing, or two things at once."""
    if mains:
        says = f"one step cannot be {' and '.join(mains)} at once"
        desk.wrong(keys[mains[1]], says, "two-main-keys", f"a step of its own: - {mains[1]}: ...", key=True)
        return
    near = next(filter(None, (nearest(key, _STEPS) for key in keys)), "")
    says = f"this step has none of the keys {listed(_STEPS)}"
    desk.wrong(node, says, "no-main-key", f"{near or 'test'}: ...")


def _test(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield what was observed: an outcome or a reading."""
    test_id = desk.id(keys["test"], "test", desk.knowledge.tests)
    if not test_id:
        return
    test = desk.knowledge.tests[test_id]
    body: dict[str, Any] = {"test": test_id}
    if "outcome" in keys and "reading" in keys:
        says = f"{test_id} is given an outcome and a reading"
        desk.wrong(keys["reading"], says, "two-answers", "one of the two", key=True)
    elif "reading" in keys:
        body["reading"] = _reading(keys["reading"], test, desk)
    elif "outcome" in keys:
        body["outcome"] = _outcome(keys["outcome"], test, desk)
    elif set(keys) <= {"test", "minutes", "before"}:
        write = f"outcome: {listed((outcome.id for outcome in test.outcomes), ' or ')}"
        desk.wrong(keys["test"], f"{test_id} has no outcome and no reading", "no-answer", write)
    if "before" in keys:
        body["before"] = desk.id(keys["before"], "repair", desk.knowledge.repairs)
    yield Event("observe", body | desk.amounts(keys, ("minutes",)))


def _outcome(node: Node, test: Test, desk: Desk) -> str | None:
    """Return the outcome that is written, one of the test's own."""
    written, own = desk.needed(node), [outcome.id for outcome in test.outcomes]
    if written and written not in own:
        says = f"{test.id} has no outcome {written}; it has {listed(own)}"
        desk.wrong(node, says, "unknown-outcome", nearest(written, own) or listed(own, " or "))
    return written or None


def _reading(node: Node, test: Test, desk: Desk) -> dict[str, Any] | None:
    """Return a reading's text, value and unit, of the kind that the test takes."""
    if not test.reading:
        write = f"outcome: {listed((outcome.id for outcome in test.outcomes), ' or ')}"
        desk.wrong(node, f"{test.id} takes no reading", "no-reading", write, key=True)
        return None
    unit = test.reading.unit
    kind = kind_of(unit) if unit in UNITS else test.reading.quantity
    units = (unit,) if kind == "count" else units_of(kind)
    quantity = desk.quantity(node, kind, units, test.id)
    if not quantity:
        return None
    return {"text": quantity.text, "value": quantity.value, "unit": quantity.unit or unit}


def _repair(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield a repair with what was found."""
    found: dict[str, str] = {}
    for cause, node in desk.mapping(keys.get("found")).items():
        if cause not in desk.knowledge.causes:
            desk.unknown(node, "cause", cause, desk.knowledge.causes, key=True)
        found[cause] = desk.needed(node)
        if found[cause] and found[cause] not in FOUND:
            says = f"{cause} cannot be found {found[cause]}; it is {listed(FOUND, ' or ')}"
            desk.wrong(node, says, "unknown-word", nearest(found[cause], FOUND) or listed(FOUND, " or "))
    repair = desk.id(keys["repair"], "repair", desk.knowledge.repairs)
    yield Event("repair", {"repair": repair, "found": found} | desk.amounts(keys, ("minutes", "parts")))


def _start(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that something was begun and left to soak, dry or charge."""
    known = desk.knowledge
    work = desk.id(keys["start"], "step", [*known.tests, *known.repairs])
    yield Event("start", {"repair" if work in known.repairs else "test": work})


def _try_out(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield the outcome of trying to start."""
    if test := desk.knowledge.tests.get(TRY_OUT):
        yield Event("observe", {"test": TRY_OUT, "outcome": _outcome(keys["try_out"], test, desk)})
    else:
        says = f"this knowledge has no test {TRY_OUT}, so nothing can be tried out"
        desk.wrong(keys["try_out"], says, "unknown-test", "a test of this knowledge", key=True)


def _of_test(main: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield what is said of a test that was not done."""
    body = {"test": desk.id(keys[main], "test", desk.knowledge.tests)}
    if main == "cannot":
        body["why"] = desk.text(keys.get("why"))
    yield Event(_kind(main), body)


def _isolation(main: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that what a test cuts out or supplies stays so, is put back, or may stay so for a start."""
    test_id = desk.id(keys[main], "test", desk.knowledge.tests)
    if test_id:
        test = desk.knowledge.tests[test_id]
        if not test.removes and not test.supplies:
            able = [each.id for each in desk.knowledge.tests.values() if each.removes or each.supplies]
            says = f"{test_id} cuts nothing out and supplies nothing"
            desk.wrong(keys[main], says, "isolates-nothing", nearest(test_id, able) or "a test that does")
        yield Event(_kind(main), {"test": test_id})


def _access(main: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that something was opened or closed."""
    yield Event(_kind(main), {"access": desk.id(keys[main], "access", desk.knowledge.access)})


def _tool(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that the shop has a tool, or has it not; with `for` which test could not be done without it."""
    body: dict[str, Any] = {"tool": desk.id(keys["tool"], "tool", known_tools(desk.knowledge))}
    have = desk.text(keys.get("have")) or "no"
    if have not in YES_NO:
        desk.wrong(keys["have"], f"have is yes or no, not {have}", "unknown-word", "yes or no")
    body["have"] = YES_NO.get(have, False)
    if "for" in keys:
        body["test"] = desk.id(keys["for"], "test", desk.knowledge.tests)
    yield Event("tool", body)


def _note(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield a note."""
    yield Event("note", {"text": desk.needed(keys["note"])})


def _undo(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that the last step is taken back."""
    if keys["undo"].content not in (None, "yes", "true", "last"):
        desk.wrong(keys["undo"], "undo takes back the last step and nothing else", "undo-value", "- undo")
    yield Event("undo")


def _complaint(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that the complaint is another one."""
    complaint = desk.id(keys["complaint"], "complaint", desk.knowledge.complaints)
    others = also(keys, desk)
    yield Event("complaint", {"complaint": complaint} | ({"also": others} if others else {}))


def also(keys: Mapping[str, Node], desk: Desk) -> list[str]:
    """Return the complaints that are written beside the first one."""
    first = keys.get("complaint")
    named = {first.content} if first else set()
    found = []
    for item in desk.items(keys.get("also")):
        if complaint := desk.id(item, "complaint", desk.knowledge.complaints):
            if not named or complaint in named:
                says = "also is what is wrong beside the complaint" + (
                    f"; {complaint} is named already" if named else ""
                )
                desk.wrong(item, says, "also-again", "complaint: the worst of it, also: [the others]")
            named.add(complaint)
            found.append(complaint)
    return found


def _fact(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield every fact that is added, corrected or unknown again."""
    facts = desk.mapping(keys["fact"])
    if not facts and isinstance(keys["fact"].content, dict | None):
        desk.wrong(keys["fact"], "fact names no fact", "empty-value", "fact: {a fact: an option}", key=True)
    for fact, node in facts.items():
        yield Event("fact", {"fact": fact, "option": desk.option(fact, node)})


def _worth(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that the owner says anew what it is worth, or the most to be spent."""
    if not (limit := desk.limit(keys["worth"])) and isinstance(keys["worth"].content, dict | None):
        desk.wrong(keys["worth"], "worth says nothing", "empty-value", "worth: {ceiling: 250}", key=True)
    yield Event("worth", limit)


def _end(_: str, keys: Mapping[str, Node], desk: Desk) -> Iterator[Event]:
    """Yield that the job was ended without a bike that goes."""
    written = desk.needed(keys["end"])
    if written and written not in ENDED:
        says = f"a job cannot end as {written}; it ends {listed(ENDED, ' or ')}"
        desk.wrong(keys["end"], says, "unknown-word", nearest(written, ENDED) or listed(ENDED, " or "))
    yield Event("close_job", {"confirmed": {}, "ended": written, "words": desk.text(keys.get("words"))})


def _kind(main: str) -> Kind:
    """Return the kind of event that has the same name as a main key."""
    return next(kind for kind in get_args(Kind) if kind == main)


_Make = Callable[[str, Mapping[str, Node], Desk], Iterator[Event]]
_STEPS: Mapping[str, tuple[_Make, tuple[str, ...]]] = {
    "test": (_test, ("outcome", "reading", "minutes", "before")),
    "cannot": (_of_test, ("why",)),
    "not_sure": (_of_test, ()),
    "declined": (_of_test, ()),
    "lift": (_of_test, ()),
    "tool": (_tool, ("have", "for")),
    "start": (_start, ()),
    "repair": (_repair, ("found", "minutes", "parts")),
    "try_out": (_try_out, ()),
    "open": (_access, ()),
    "close": (_access, ()),
    "isolate": (_isolation, ()),
    "reconnect": (_isolation, ()),
    "accept": (_isolation, ()),
    "sheet": (manual_step, ("from",)),
    "as_found": (measured_step, BESIDE),
    "as_set": (measured_step, BESIDE),
    "note": (_note, ()),
    "undo": (_undo, ()),
    "complaint": (_complaint, ("also",)),
    "fact": (_fact, ()),
    "worth": (_worth, ()),
    "end": (_end, ("words",)),
}
"""Main key of a step -> what makes its events, and the keys that may stand beside it."""
