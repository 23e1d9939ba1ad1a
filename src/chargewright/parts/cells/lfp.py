"""LFP power cell of the 26650 size, 2.3 Ah: flat rest voltage, from the set of Prada et al. (2013)."""

from chargewright.parts.cells._drawn import drawn

CELL = drawn("lfp")
