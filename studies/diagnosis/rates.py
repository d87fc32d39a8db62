"""How often each verdict was right in simulation: what to quote beside it.

Measured on 1,000 generated plants (diagnosis_simulation.simulate); tests/test_diagnosis.py repeats
the measurement.  They hold where sheet and gauge scatter as stated and one thing ails a machine.
"""

from __future__ import annotations

from domemargin.studies.diagnosis.diagnosis import DRIFT, IN_CONTROL, LOT, OFFSET, SPREAD

PLANTS = 1000
# share right among machines with the verdict, each cause taken as equally common
RIGHT_SHARE = {IN_CONTROL: 0.999, OFFSET: 0.999, DRIFT: 1.0, LOT: 0.993, SPREAD: 0.976}
FALSE_ALARMS = 0.002  # share of healthy machines
