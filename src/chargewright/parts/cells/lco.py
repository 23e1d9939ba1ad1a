"""LCO pouch cell, 2.3 Ah: the classic of slim portables. Drawn from the set of Ai et al. (2020)."""

from chargewright.parts.cells._drawn import drawn

CELL = drawn("lco")
