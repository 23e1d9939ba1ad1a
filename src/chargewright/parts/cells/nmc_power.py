"""NMC power cell of the 18650 size, 3 Ah: less charge, high current. Drawn from the set of Mohtat et al. (2020)."""

from chargewright.parts.cells._drawn import drawn

CELL = drawn("nmc-power")
