"""Constants of units, exact or by definition."""

from __future__ import annotations

INCH = 0.0254
FOOT = 12 * INCH
#: One foot pound-force in newton metres, exact by the definitions of inch, pound and gravity.
LBFT = 1.3558179483314004
CUBIC_INCH = INCH**3
#: One horsepower is 550 ft lbf/s by definition, one revolution 2 pi rad: 33000 / (2 pi).
TORQUE_POWER_CONSTANT = 5252.113122032546
