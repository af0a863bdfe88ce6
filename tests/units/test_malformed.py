"""More than two hundred readings that cannot be read; each is refused with a message, none is taken for a figure."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from diagnose.units import QuantityError, read_quantity

MALFORMED = yaml.safe_load(Path(__file__).with_name("malformed.yaml").read_text(encoding="utf-8"))


@pytest.mark.parametrize(("written", "kind", "word"), MALFORMED)
def test_it_is_refused_and_told_why_and_what_to_write(written, kind, word):
    with pytest.raises(QuantityError) as refused:
        read_quantity(written, kind)
    message = str(refused.value)
    assert word in message
    assert refused.value.says
    assert refused.value.write
    assert message.isprintable()
    assert len(message) < 200


def test_there_are_two_hundred_and_none_twice():
    assert len({(written, kind) for written, kind, _ in MALFORMED}) == len(MALFORMED) >= 200


@pytest.mark.parametrize(
    ("written", "kind", "value", "unit"),
    [
        ("95 psi", "pressure", 95.0, "psi"),
        ("5k6", "resistance", 5.6, "kohm"),
        ("5K", "resistance", 5.0, "kohm"),
        ("293 K", "temperature", 293.0, "K"),
        ("7", "count", 7.0, ""),
        ("1½ turns", "count", 1.5, "turns"),
        ("~0.6 mm", "length", 0.6, "mm"),
    ],
)
def test_what_can_be_read_is_read(written, kind, value, unit):
    quantity = read_quantity(written, kind)
    assert (quantity.value, quantity.unit) == (value, unit)
