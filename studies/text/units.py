"""Units people read pressures in."""

from domemargin.profiles.units import BAR, PSI

__all__ = ["BAR", "PSI"]
