"""Units of pressure in internal units, for whatever computes with them."""

from __future__ import annotations

PSI = 0.006894757293168361  # MPa: pound-force (0.45359237 kg x 9.80665 m/s2) / (25.4 mm)^2
BAR = 0.1  # MPa
