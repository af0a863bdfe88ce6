"""The types that texts of the knowledge are turned into, each with its own words for what is wrong."""

from __future__ import annotations

import math
import re
from typing import Annotated, Any

from pydantic import BeforeValidator, Discriminator, Tag
from pydantic_core import PydanticCustomError

from diagnose.reading.files import nearest

_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")
_SNAKE = re.compile(r"[a-z0-9]+(_[a-z0-9]+)*")
_WRITTEN = 60


def refused(rule: str, says: str, write: str) -> PydanticCustomError:
    """Return the error that carries our own words; they follow the name of the key."""
    return PydanticCustomError(rule, "refused", {"says": says, "write": write})


def short(value: object) -> str:
    """Return a value as it is shown in a message."""
    text = str(value).replace("\n", " ")
    return text if len(text) <= _WRITTEN else text[: _WRITTEN - 3] + "..."


def snake(text: str) -> bool:
    """Return whether a text is a lower_snake word; digits may begin it.

    >>> snake("cdi_battery"), snake("CDI battery")
    (True, False)
    """
    return _SNAKE.fullmatch(text) is not None


def as_snake(text: str) -> str:
    """Return the lower_snake word nearest to a text."""
    return re.sub(r"[^a-z0-9]+", "_", text.lower()).strip("_") or "a_name"


def _scalar(value: Any, wanted: str, write: str) -> str:
    if value is None:
        raise refused("empty-value", f"has nothing after the colon; it must be {wanted}", write)
    if not isinstance(value, str):
        raise refused(
            "wrong-type", f"must be {wanted}, not a {'list' if isinstance(value, list) else 'mapping'}", write
        )
    return value.strip()


def _text(value: Any) -> str:
    text = _scalar(value, "a text", "one text; in quotes if it holds special characters")
    if not text:
        raise refused("empty-value", "is empty; it must be a text", "the text")
    return text


def _number(value: Any, wanted: str = "a number", write: str = "a number such as 4 or 0.5") -> float:
    text = _scalar(value, wanted, write)
    if _NUMBER.fullmatch(text) and math.isfinite(float(text)):
        return float(text)
    if _NUMBER.fullmatch(text.replace(",", ".", 1)):
        raise refused(
            "decimal-comma", f"is {short(text)}; decimals are written with a point", text.replace(",", ".", 1)
        )
    bare = text.rstrip("% ")
    if bare != text and _NUMBER.fullmatch(bare):
        raise refused("not-a-number", f"is {short(text)}; a share is written as a number", f"{float(bare) / 100:g}")
    raise refused("not-a-number", f"is {short(text) or 'empty'}; it must be {wanted}", write)


def _probability(value: Any) -> float:
    number = _number(value, "a probability", "a number between 0 and 1, such as 0.3")
    if 0 < number < 1:
        return number
    says = f"is {short(value)}; a probability lies between 0 and 1, both left out"
    if 1 < number < 100:
        raise refused("probability-range", says, f"{number / 100:g}")
    edges = {0.0: "a small number such as 0.001, or leave it out", 1.0: "0.99"}
    write = edges.get(number, "a number such as 0.3")
    raise refused("probability-range", says, write)


def _sure(value: Any) -> float:
    """A probability, or the word certain: for what is seen directly, such as what the bike does."""
    return 1.0 if isinstance(value, str) and value.strip() == "certain" else _probability(value)


def _amount(value: Any) -> float:
    number = _number(value)
    if number < 0:
        raise refused("negative-number", f"is {short(value)}; it cannot be less than 0", f"{-number:g}")
    return number


def _count(value: Any) -> int:
    number = _amount(value)
    if number != int(number):
        raise refused("not-a-count", f"is {short(value)}; it must be a whole number", f"{number:.0f}")
    return int(number)


def _factor(value: Any) -> float:
    number = _number(value)
    if number <= 0:
        raise refused(
            "odds-factor",
            f"is {short(value)}; a factor on the odds is more than 0",
            "2, or 0.5 to halve them",
        )
    return number


def _ratio(value: Any) -> float:
    number = _number(value)
    if number <= 1:
        says = f"is {short(value)}; a mechanism makes its causes likelier, so its odds ratio is more than 1"
        raise refused("odds-ratio", says, "a number such as 4")
    return number


def _yes_or_no(value: Any) -> bool:
    text = _scalar(value, "true or false", "true or false")
    if text not in ("true", "false"):
        write = "true" if text.lower() in ("yes", "on", "true", "1", "y") else "false"
        raise refused("true-or-false", f"is {short(text)}; it must be true or false", write)
    return text == "true"


def listed(value: Any) -> list[Any]:
    """Return a list as it is; anything else is a mistake."""
    if isinstance(value, list):
        return value
    if value is None:
        raise refused("empty-value", "has nothing after the colon; it must be a list", "[one, two]")
    if isinstance(value, dict):
        raise refused("wrong-type", "must be a list, not a mapping", "[one, two]")
    raise refused("wrong-type", "must be a list, not one text", f"[{short(value)}]")


def one_or_more(value: Any) -> list[Any]:
    """Return a list as it is, one text as a list of it; anything else is a mistake."""
    return listed([value] if isinstance(value, str) and value.strip() else value)


def mapping(value: Any) -> dict[str, Any]:
    """Return a mapping as it is; anything else is a mistake."""
    if isinstance(value, dict):
        return value
    if value is None:
        raise refused("empty-value", "has nothing after the colon; it must be a mapping", "{key: value}")
    kind = "a list" if isinstance(value, list) else "one text"
    raise refused("wrong-type", f"must be a mapping, not {kind}", "{key: value}")


def _prior(value: Any) -> list[Any]:
    if isinstance(value, list) and len(value) == 3:
        return value
    given = f"has {len(value)} numbers" if isinstance(value, list) else f"is {short(value or 'empty')}"
    says = f"{given}; it must be three: ran lately, stood about a year, stood for years"
    commas = isinstance(value, list) and len(value) == 6
    raise refused("prior-shape", says, "[0.05, 0.2, 0.4]" + ", decimals with a point" * commas)


def _sources(value: Any) -> list[Any]:
    given = listed(value)
    if not given:
        raise refused("no-basis", "is empty; every entry says where its figures come from", "[memory]")
    return given


def _levels(value: Any) -> list[Any]:
    levels = listed(value)
    if len(levels) < 2:
        raise refused("too-few-levels", "needs two levels or more, the healthy one first", "[good, weak, none]")
    texts = [level for level in levels if isinstance(level, str)]
    if len(set(texts)) < len(texts):
        raise refused("repeated-level", "holds a level twice", "[good, weak, none]")
    return levels


def _span(value: Any) -> list[Any]:
    if isinstance(value, list) and len(value) == 2:
        return value
    given = f"has {len(value)} numbers" if isinstance(value, list) else f"is {short(value or 'empty')}"
    raise refused("span-shape", f"{given}; it must be two: the least and the most", "[0.1, 2]")


def one_of(*words: str) -> BeforeValidator:
    """Return the validator for a key that takes one of a few words."""

    def check(value: Any) -> str:
        text = _scalar(value, "one of " + ", ".join(words), words[0])
        if text not in words:
            says = f"is {short(text) or 'empty'}; it must be one of {', '.join(words)}"
            raise refused("unknown-word", says, nearest(text, words) or "one of these words")
        return text

    return BeforeValidator(check)


def _shape(value: Any) -> str:
    return "<levels>" if isinstance(value, dict) else "<number>"


Text = Annotated[str, BeforeValidator(_text)]
Number = Annotated[float, BeforeValidator(_number)]
Probability = Annotated[float, BeforeValidator(_probability)]
Amount = Annotated[float, BeforeValidator(_amount)]
Count = Annotated[int, BeforeValidator(_count)]
Factor = Annotated[float, BeforeValidator(_factor)]
Ratio = Annotated[float, BeforeValidator(_ratio)]
Flag = Annotated[bool, BeforeValidator(_yes_or_no)]
Texts = Annotated[tuple[Text, ...], BeforeValidator(listed)]
OneOrMore = Annotated[tuple[Text, ...], BeforeValidator(one_or_more)]
Sources = Annotated[tuple[Text, ...], BeforeValidator(_sources)]
Prior = Annotated[tuple[Probability, Probability, Probability], BeforeValidator(_prior)]
Span = Annotated[tuple[Number, Number], BeforeValidator(_span)]
Levels = Annotated[tuple[Text, ...], BeforeValidator(_levels)]
Gated = Annotated[dict[str, OneOrMore], BeforeValidator(mapping)]
ByLevel = Annotated[dict[str, Probability], BeforeValidator(mapping)]
ByNode = Annotated[dict[str, Probability], BeforeValidator(mapping)]

Chance = Annotated[
    Annotated[Probability, Tag("<number>")] | Annotated[dict[str, Probability], Tag("<levels>")],
    Discriminator(_shape),
]
"""One probability, or one for each level."""

Row = Annotated[
    Annotated[Probability, Tag("<number>")] | Annotated[dict[str, Chance], Tag("<levels>")],
    Discriminator(_shape),
]
"""One probability, one for each level, or for each level of the parent one for each level of the child."""

Sure = Annotated[float, BeforeValidator(_sure)]

Sight = Annotated[
    Annotated[Sure, Tag("<number>")] | Annotated[dict[str, Sure], Tag("<levels>")],
    Discriminator(_shape),
]
"""As Chance, but may be the word certain."""

Links = Annotated[dict[str, Row], BeforeValidator(mapping)]
Drivers = Annotated[dict[str, Sight], BeforeValidator(mapping)]
