"""The power rule: which objects a source of a given rated power has to offer.

USB PD R3.2 chapter 10 (fixed voltages confirmed by look-up in a public table; ends of the programmable ranges
confirmed by look-up in a public design guide; of the adjustable ranges by look-up in open decoders).
"""

import math

from chargewright.base.errors import OutOfRange
from chargewright.parts.usb_pd.objects import EprAvsObject, FixedObject, PpsObject, SourceObject

SPR_POWER_MAX = 100.0
"""Where the standard power range ends [W]."""
SPR_POSITIONS = 7
"""Places for objects of the standard power range; objects of the extended range start at the next."""
I_UNMARKED = 3.0
"""Current of a cable without a marker [A]; up to 60 W at 20 V."""
I_MARKED = 5.0
"""Current of a marked cable [A]; every cable for the extended range is rated for it, and for 50 V."""

SPR_VOLTS = (5.0, 9.0, 15.0, 20.0)
"""Voltages of the power rule in the standard range [V]; 12 V and others may be offered besides."""
EPR_VOLTS = (28.0, 36.0, 48.0)
"""Voltages of fixed objects in the extended range [V]."""
AVS_VOLTS_MIN = 15.0
"""Where every adjustable range above 100 W starts [V]."""
_PPS_VOLTS_MIN = 3.3
_PPS_VOLTS_MAX = {5.0: 5.9, 9.0: 11.0, 15.0: 16.0, 20.0: 21.0}


def objects_by_power(power: float, *, programmable: bool = False) -> tuple[SourceObject, ...]:
    """Return the objects of a source of `power` watts with a marked cable, standard range first.

    Each voltage comes at 3 A (5 A from 20 V up in sources above 60 W) until the power is reached; the highest one
    carries what the power allows, on the grid of 10 mA below it. `programmable` adds the programmable range of the
    highest voltage of the standard range and, above 100 W, the adjustable one.
    Raises OutOfRange outside 0.5 W … 240 W.
    """
    if not 0.5 <= power <= 240.0:
        raise OutOfRange(f"the power rule of USB PD covers 0.5 W to 240 W, not {power:g} W")
    fixed = [FixedObject(v=v, i=_current(v, power)) for v in _volts_offered(power)]
    standard: list[SourceObject] = [entry for entry in fixed if entry.v <= SPR_VOLTS[-1]]
    extended: list[SourceObject] = [entry for entry in fixed if entry.v > SPR_VOLTS[-1]]
    if programmable:
        highest = max(entry.v for entry in fixed if entry.v <= SPR_VOLTS[-1])
        standard.append(_programmable_range(highest, power))
        if extended:
            watts = float(math.floor(power + 1e-9))
            extended.append(EprAvsObject(v_min=AVS_VOLTS_MIN, v_max=max(e.v for e in fixed), power=watts))
    return tuple(standard + extended)


def _volts_offered(power: float) -> list[float]:
    """Return the voltages up to the first that reaches the power."""
    offered = []
    for v in (*SPR_VOLTS, *EPR_VOLTS):
        offered.append(v)
        if v * _current_max(v, power) >= power - 1e-9:
            break
    return offered


def _current_max(v: float, power: float) -> float:
    return I_MARKED if v >= SPR_VOLTS[-1] and power > SPR_VOLTS[-1] * I_UNMARKED else I_UNMARKED


def _current(v: float, power: float) -> float:
    return math.floor(min(_current_max(v, power), power / v) * 100.0 + 1e-6) / 100.0


def _programmable_range(v: float, power: float) -> PpsObject:
    """Return the range that goes with a fixed voltage, power limited where its top would exceed the power."""
    i = math.floor(_current(v, power) * 20.0 + 1e-6) / 20.0
    v_max = _PPS_VOLTS_MAX[v]
    return PpsObject(v_min=_PPS_VOLTS_MIN, v_max=v_max, i=i, power_limited=v_max * i > power + 1e-9)
