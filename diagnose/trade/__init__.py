"""The sums of the trade as pure functions, from the air on a pass to the oil in the can.

Pressures are in Pa, lengths in mm where the name says so, temperatures in degrees Celsius, angles in degrees. Each
module says what its sums hold for and where they come from (`BASIS`). Outside that they raise `OutOfRange`; none of
them guesses on. What the interview needs stands in `air.sea_level_reading`, `compression.true_reading`,
`coils.ohms_at_20`, `sparks.density_factor` and `batteries.gravity_at_80f`.
"""

from diagnose.trade.ranges import Basis, OutOfRange

__all__ = ["Basis", "OutOfRange"]
