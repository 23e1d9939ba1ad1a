"""NMC energy cell of the 21700 size, 5 Ah: much charge, moderate current. Drawn from the set of Chen et al. (2020)."""

from chargewright.parts.cells._drawn import drawn

CELL = drawn("nmc-energy")
