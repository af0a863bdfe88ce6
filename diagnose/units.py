"""Quantities as people write them ("90 psi", "0,6 mm", "5k6", "1 1/2 turns") and their exact conversion.

A comma and a point both mark decimals; a thousands sign is never accepted. What is said to be about so much ("~90 psi",
"ca. 0.6 mm") is read and marked. The units stand in unit_table.py.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from math import inf
from unicodedata import category, normalize

from diagnose.problems import DiagnoseError, printable
from diagnose.unit_table import ADVICE, BY_NAME, CASE_MATTERS, NEVER_NEGATIVE, SPELLINGS, UNITS, USUAL, Unit, key

__all__ = [
    "UNITS",
    "Quantity",
    "QuantityError",
    "convert",
    "kind_of",
    "of_kind",
    "parse_quantity",
    "read_quantity",
    "understood",
    "units_of",
    "usual_units",
]


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number and its unit.

    unit: a name of the table, empty where none was written; text: as written; about: it was said to be only about that
    much, so its error is larger than the instrument's.
    """

    value: float
    unit: str
    text: str = ""
    about: bool = field(default=False, repr=False)

    def __str__(self) -> str:
        """Return the number with its unit.

        >>> str(Quantity(0.6, "mm"))
        '0.6 mm'
        """
        return f"{self.value:.10g} {self.unit}".rstrip()


class QuantityError(DiagnoseError):
    """A text that is no quantity, or not of the wanted kind. says: why; write: what to write instead."""

    def __init__(self, text: str, says: str, write: str) -> None:
        """Keep the reason and the remedy apart, for those who show them with a place."""
        self.says, self.write = printable(says), printable(write)
        shown = printable(text.strip())
        shown = shown if len(shown) <= _SHOWN else f"{shown[:_SHOWN]}..."
        super().__init__(f'"{shown}": {self.says}; write: {self.write}')


_SIGNS = str.maketrans(
    {
        "\N{MINUS SIGN}": "-",
        "\N{EN DASH}": "-",
        "\N{EM DASH}": "-",
        "\N{RIGHT SINGLE QUOTATION MARK}": "'",
        "\N{PRIME}": "'",
        "\N{DOUBLE PRIME}": '"',
        "\N{FRACTION SLASH}": "/",
        "\N{GREEK SMALL LETTER MU}": "u",
        "\N{GREEK CAPITAL LETTER OMEGA}": "ohm",
        "\N{DEGREE SIGN}": "deg",
    }
)
_LONGEST = 40
_SHOWN = 60
"""Signs of what was written that an error shows."""
_FRACTION = "[¼-¾⅐-⅞]"
_ABOUT = r"(?:about|abt\.?|around|roughly|approximately|approx\.?|circa|ca\.?|c\.|[~≈∼])"
_ABOUT_AFTER = r"(?:or so|roughly|approximately|approx\.?)"
_BOUND = (
    r"(?:[<>≤≥]=?|over|under|above|below|up to|at least|at most|more than|less than|min\.?|max\.?|almost|nearly|just)"
)
_SAMPLE = "a number and its unit, such as 95 psi"
_SAMPLES = {
    "length": "a number and its unit, such as 0.35 mm",
    "voltage": "a number and its unit, such as 12.4 V",
    "resistance": "a number and its unit, such as 4.5 ohm",
    "flow": "a number and its unit, such as 150 ml/min",
    "count": "a plain number, such as 98",
}


def read_quantity(text: str, *kinds: str) -> Quantity:
    """Return a reading of a kind, with a unit; only what is counted may stand without one.

    Args:
        text: as for `parse_quantity`.
        kinds: the kinds of quantity that may be given, such as "pressure"; the first decides between two meanings.

    Raises:
        QuantityError: it cannot be read, has no unit, or one of another kind; the message says what to write.

    >>> read_quantity("about 90 psi", "pressure").about
    True
    """
    return of_kind(parse_quantity(text, kinds[0]), *kinds)


def of_kind(quantity: Quantity, *kinds: str) -> Quantity:
    """Return a quantity as it is if it has a unit of one of these kinds. Raises QuantityError saying what to write.

    >>> of_kind(Quantity(9, ""), "count").value
    9
    """
    measured = kind_of(quantity.unit)
    if measured in kinds:
        return quantity
    text, usual = quantity.text or str(quantity), [unit for kind in kinds for unit in usual_units(kind)]
    if not quantity.unit or (quantity.unit == "deg" and "temperature" in kinds):
        says = "degrees of what" if quantity.unit else "the unit is missing"
        figure = f"{quantity.value:.10g}" if quantity.unit else text
        raise QuantityError(text, says, " or ".join(f"{figure} {unit}" for unit in usual))
    says = f"{quantity.unit} is a unit of {measured}, not of {' or '.join(kinds)}"
    raise QuantityError(text, says, f"a figure in {' or '.join(usual)}")


def parse_quantity(text: str, kind: str = "") -> Quantity:
    """Return what was written as a number with a unit; without a unit the unit is empty.

    Args:
        text: one number and one unit; comma or point for decimals; fractions; 5k6 for 5.6 kohm; about, ca., ~.
        kind: the kind of quantity that is asked for; decides where a spelling has two meanings ("5K").

    Raises:
        QuantityError: it cannot be read as one quantity; the message says what to write.

    >>> parse_quantity("0,6 mm")
    Quantity(value=0.6, unit='mm', text='0,6 mm')
    >>> parse_quantity("5k6").unit
    'kohm'
    """
    if kind == "resistance" and re.fullmatch(r"\s*0\.?[lL]\.?\s*", text):  # what a meter shows, typed with a nought
        text = "OL"
    tidy, about = _without_about(_tidy(text))
    short = re.fullmatch(r"([0-9]*)([RkKM])([0-9]+)\s*(?:ohms?)?", tidy)
    if short:
        whole, letter, part = short.groups()
        unit = {"R": "ohm", "M": "Mohm"}.get(letter, "kohm")
        return Quantity(float(f"{whole or 0}.{part}"), unit, text.strip(), about)
    match = re.fullmatch(r"([+-]?)([0-9.,/ ]*[0-9])\s*(.*)", tidy)
    if not match:
        raise QuantityError(text, *_no_number(tidy, kind))
    sign, digits, rest = match.groups()
    _check_rest(text, digits, rest)
    value = _number(text, digits.strip()) * (-1 if sign == "-" else 1)
    unit = _spelled(text, rest, kind) if rest else ""
    _check_sign(text, value, unit)
    return Quantity(value, unit, text.strip(), about)


def convert(quantity: Quantity, unit: str) -> Quantity:
    """Return the quantity in another unit of its kind; the text stays as it was written.

    Raises:
        QuantityError: no such unit, a unit of another kind, or no unit to convert from.

    >>> convert(Quantity(68.0, "F"), "C").value
    20.0
    """
    kind = kind_of(unit)
    if kind_of(quantity.unit) != kind or (kind == "count" and quantity.unit not in ("", unit)):
        says = f"this cannot be given in {unit or 'plain numbers'}"
        raise QuantityError(str(quantity), says, ", ".join(units_of(kind)))
    if quantity.unit == unit or kind == "count":
        return replace(quantity, unit=unit)
    target = BY_NAME[unit]
    try:
        value = float(_to_base(quantity.value, BY_NAME[quantity.unit]) / target.factor - target.offset)
    except (ValueError, OverflowError):
        raise QuantityError(str(quantity), "this number is not finite or too large", "a smaller number") from None
    return replace(quantity, value=value, unit=unit)


def kind_of(unit: str) -> str:
    """Return what a unit measures, such as "pressure". A number without a unit counts something.

    Raises:
        QuantityError: no unit has that name.

    >>> kind_of("psi"), kind_of("")
    ('pressure', 'count')
    """
    if unit and unit not in UNITS:
        raise QuantityError(unit, "no unit has this name", _nearest(unit) or ", ".join(UNITS))
    return UNITS[unit] if unit else "count"


def units_of(kind: str) -> tuple[str, ...]:
    """Return the units of a kind of quantity; empty for a kind that is not known.

    >>> units_of("flow")
    ('ml/min', 'l/h')
    """
    return tuple(name for name, measured in UNITS.items() if measured == kind)


def usual_units(kind: str) -> tuple[str, ...]:
    """Return the units of a kind that a mechanic writes, the commonest first; empty for a kind that is not known.

    >>> usual_units("pressure")
    ('psi', 'bar', 'kPa')
    """
    return USUAL.get(kind, units_of(kind))


def understood(values: Iterable[float], unit: str, possible: tuple[float, float] | None = None) -> str:
    """Return the unit that goes without saying: the only usual one in which figures can be so much; empty for none.

    Args:
        values: the figures that stand without a unit.
        unit: the one in which they are wanted.
        possible: from where to where they can be, in that unit; None for anywhere.

    >>> understood([0.35], "mm", (0, 3)), understood([0.014], "mm", (0, 3)), understood([14], "mm", (0, 3))
    ('mm', '', 'thou')
    """
    low, high = possible or (-inf, inf)
    figures = list(values)
    fitting = [
        one
        for one in (SPELLINGS[key(usual)][0] for usual in usual_units(kind_of(unit)))
        if all(low <= convert(Quantity(value, one), unit).value <= high for value in figures)
        and not (one == "thou" and any(0 < value < 1 for value in figures))  # nobody writes parts of one
    ]
    return fitting[0] if len(fitting) == 1 else ""


def _tidy(text: str) -> str:
    """Return the text with one spelling of each sign; refuse what cannot be a reading at all."""
    tidy = " ".join(text.split())
    if not tidy or len(tidy) > _LONGEST:
        raise QuantityError(tidy[:_LONGEST], "this is no reading", _SAMPLE)
    if re.fullmatch(r"o\.?l\.?|overload|open|infinit[ey]|inf|∞", tidy.casefold()):
        raise QuantityError(text, "the meter found no end, which is no number", "the outcome, not a reading")
    for before, sign in pairwise(f" {tidy}"):  # a raised 2 may end a unit; anywhere else 10² would be read as 102
        if category(sign) == "No" and not re.match(_FRACTION, sign) and not before.isalpha():
            raise QuantityError(text, f'the sign "{sign}" is not read here', "plain digits")
    parted = re.sub(rf"([0-9])({_FRACTION})", r"\1 \2", tidy).translate(_SIGNS)
    plain = normalize("NFKC", parted).translate(_SIGNS)
    return re.sub(r"^([0-9]+)-([0-9]+/[0-9]+)(?![0-9/.,])", r"\1 \2", plain)  # 1-1/2 is one and a half


def _without_about(tidy: str) -> tuple[str, bool]:
    """Return a text without the word that says that it is about so much, and whether there was one."""
    before = re.fullmatch(rf"{_ABOUT}\s*([-+.,0-9RkKM].*)", tidy, re.IGNORECASE)
    rest = before[1] if before else tidy
    after = re.fullmatch(rf"(.*?[^\s,]),?\s+{_ABOUT_AFTER}", rest, re.IGNORECASE)
    return (after[1] if after else rest), bool(before or after)


def _no_number(tidy: str, kind: str = "") -> tuple[str, str]:
    """Return why a text that begins with no number is refused, and what to write."""
    bound = re.match(rf"{_BOUND}(?:\s*|\b)[^0-9]*([0-9][0-9.,]*)", tidy, re.IGNORECASE)
    if bound:
        return "this says where it ends, not what was read", f"what the instrument showed, such as {bound[1]}"
    return "a reading begins with a number", _SAMPLES.get(kind, _SAMPLE)


def _check_sign(text: str, value: float, unit: str) -> None:
    """Refuse what is less than nothing."""
    if unit and UNITS[unit] == "temperature" and _to_base(value, BY_NAME[unit]) < 0:
        raise QuantityError(text, "nothing can be that cold", "a temperature above -273.15 C or -459.67 F")
    if unit and value < 0 and UNITS[unit] in NEVER_NEGATIVE:
        raise QuantityError(text, f"no {UNITS[unit]} is less than nothing", f"{-value:.10g} {unit}, or 0 {unit}")


def _check_rest(text: str, digits: str, rest: str) -> None:
    """Refuse what follows a number but is no unit: a range, a thousands sign, an unfinished decimal."""
    if re.match(r"(-|to|\.\.|/|\+|±)\s*[0-9]", rest):
        raise QuantityError(text, "this is more than one number", f"one number, such as {digits.strip()}")
    if re.match(r"['`_][0-9]{3}(?![0-9])", rest):
        raise QuantityError(text, "a thousands sign is not read", "the number without it")
    if re.match(r"\+$|\+\s*[a-zA-Z]", rest):
        raise QuantityError(text, "this says where it ends, not what was read", "what the instrument showed")
    if rest[:1] in tuple("*^·⋅:;=") or rest[-1:] in tuple("*^-"):
        raise QuantityError(
            text, f'there is a "{rest[0] if rest[:1] in tuple("*^·⋅:;=") else rest[-1]}" too many', _SAMPLE
        )
    if rest[:1] in (".", ","):
        raise QuantityError(text, "the number is not finished", f"{digits.strip()} or its decimals as well")


def _number(text: str, digits: str) -> float:
    """Return the value of "12", "12.4", ",6", "3/16" or "1 1/2"."""
    fraction = re.fullmatch(r"(?:([0-9]+) )?([0-9]+) ?/ ?([0-9]+)", digits)
    if fraction and int(fraction[3]) and (not fraction[1] or int(fraction[2]) < int(fraction[3])):
        return float(int(fraction[1] or 0) + Fraction(int(fraction[2]), int(fraction[3])))
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", digits):
        write = f"{digits.replace(',', '.')} or {digits.replace(',', '')}"
        raise QuantityError(text, "the comma could mark decimals or thousands", write)
    if re.fullmatch(r"[0-9]+|[0-9]*[.,][0-9]+", digits):
        return float(digits.replace(",", "."))
    if "/" in digits:
        raise QuantityError(text, "this fraction cannot be read", "a fraction such as 1 1/2")
    if grouped := re.fullmatch(r"([0-9]{1,3}(?:([., ])[0-9]{3})(?:\2[0-9]{3})*)([.,][0-9]+)?", digits):
        plain = re.sub(r"[., ]", "", grouped[1]) + (grouped[3] or "").replace(",", ".")
        raise QuantityError(text, "a thousands sign is not read", plain)
    raise QuantityError(text, "this is more than one number", "one number with one decimal sign")


def _spelled(text: str, rest: str, kind: str) -> str:
    """Return the name of the unit that was written."""
    spelling = key(rest)
    small = spelling.casefold()
    names = SPELLINGS.get(spelling) or (SPELLINGS.get(small, ()) if small not in CASE_MATTERS else ())
    meant = [name for name in names if UNITS[name] == kind] or list(names)
    if len({UNITS[name] for name in meant}) < len(meant):
        raise QuantityError(text, f"{rest} has more than one size", " or ".join(meant))
    if not meant:
        near = "" if re.search("[0-9]", rest) else _nearest(rest)
        unknown = (f'no unit is called "{rest}"', near or "one number and one unit, such as 95 psi")
        raise QuantityError(text, *ADVICE.get(small, unknown))
    return meant[0]


def _nearest(word: str) -> str:
    """Return the unit whose spelling is nearest, or nothing."""
    from difflib import get_close_matches  # only when something is wrong: it is slow to load

    near = get_close_matches(key(word), SPELLINGS, n=1, cutoff=0.6)
    return SPELLINGS[near[0]][0] if near else ""


def _to_base(value: float, unit: Unit) -> Fraction:
    """Return the value in the base unit of its kind, from the decimals as they would be printed."""
    return (Fraction(repr(float(value))) + unit.offset) * unit.factor
