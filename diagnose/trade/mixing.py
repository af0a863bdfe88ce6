"""Oil in petrol. A ratio of 50 is 50 parts of petrol to one of oil."""

from __future__ import annotations

from diagnose.trade.ranges import Basis, OutOfRange, within

BASIS = Basis("ratios 10 to 150, oil to petrol (50:1 is 1.96 % of the finished mix)", "proportion; mixing charts agree")
CAUTION = (
    "Too little oil seizes the engine; more oil leans the mixture, for it takes the place of petrol. An imperial "
    "gallon is 160 fl oz, a US gallon 128: the other one's figure is a quarter too much or a fifth too little."
)


def oil_for(petrol: float, ratio: float) -> float:
    """Return the oil for so much petrol, in the same unit of volume. petrol: 0 or more.

    >>> oil_for(1000, 32)
    31.25
    """
    return _amount(petrol) / _ratio(ratio)


def petrol_for(oil: float, ratio: float) -> float:
    """Return the petrol for so much oil, in the same unit: the reverse of `oil_for`."""
    return _amount(oil) * _ratio(ratio)


def petrol_share(ratio: float) -> float:
    """Return the share of petrol in the finished mix, 0 to 1: the less, the leaner a jet runs.

    >>> round(1 - petrol_share(50), 4)
    0.0196
    """
    return _ratio(ratio) / (ratio + 1)


def oil_to_add(mix: float, has: float, wanted: float) -> float:
    """Return the oil that turns so much mix of a ratio into an oilier one, in the same unit.

    Raises:
        OutOfRange: it already has more oil than is wanted; only petrol helps.

    >>> oil_to_add(5100, 50, 25)
    100.0
    """
    petrol = _amount(mix) * petrol_share(has)
    if _ratio(wanted) > has:
        raise OutOfRange(f"A mix of {has:g}:1 already has more oil than {wanted:g}:1; add petrol.")
    return petrol / wanted - petrol / has


def _ratio(ratio: float) -> float:
    return within("ratio of petrol to oil", ratio, 10, 150, "", "No engine runs on another mix.")


def _amount(amount: float) -> float:
    return within("amount", amount, 0, float("inf"), "", "There is no less than nothing.")
