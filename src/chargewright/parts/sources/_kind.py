"""What a file on the shelf of sources defines, and what all kinds share."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from chargewright.base.units import Toleranced
from chargewright.parts.supply import Supply
from chargewright.physics.copper import copper_resistivity
from chargewright.spec.source import CableSpec, SourceSpec

TEMP_CABLE_COLD = 273.15
TEMP_CABLE_HOT = 333.15
"""Conductor temperatures [K] between which a cable is taken to work: 0 °C to 60 °C (common practice)."""
WORN_CONTACTS = 1.25
"""Contact resistance after wear over the new one [1]: 50 mohm against 40 mohm (USB Type-C 3.7; from memory)."""
_TEMP_STATED = 298.15
"""Temperature at which the design file states a cable's resistance [K]."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceKind:
    """One kind of source: how its part of the design file becomes supplies."""

    title: str
    source: str
    """Standard or custom that governs this kind."""
    example: SourceSpec
    supplies: Callable[[Any], tuple[Supply, ...]]
    """Returns every contract that the source can end up in, highest power first."""


def cable_loop(cable: CableSpec) -> Toleranced:
    """Return the resistance [ohm] of both conductors and all contacts: cold and new, at 25 °C, hot and worn."""
    stated = float(copper_resistivity(_TEMP_STATED))
    cold = float(copper_resistivity(TEMP_CABLE_COLD)) / stated
    hot = float(copper_resistivity(TEMP_CABLE_HOT)) / stated
    return Toleranced(
        cable.resistance + cable.connectors,
        cable.resistance * cold + cable.connectors,
        cable.resistance * hot + cable.connectors * WORN_CONTACTS,
    )
