"""Clamp diodes: what takes the surge on an input."""

from dataclasses import dataclass

from chargewright.parts.kind import PartKind
from chargewright.spec.fields import quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class ClampDiode:
    """One clamp diode, one-way; pulse values are for a surge that rises in 10 µs and halves in 1000 µs."""

    name: str = text(why="what the part list calls it; used once", example="CLAMP 22V 400W")
    v_standoff: float = quantity(
        "V", low=1.0, high=1000.0, example="22 V", why="highest voltage it lasts at without clamping"
    )
    v_clamp: float = quantity("V", low=1.5, high=2000.0, example="35.5 V", why="voltage at i_pulse")
    i_pulse: float = quantity("A", low=0.1, high=2000.0, example="11 A", why="peak of the rated surge")
    r_dynamic: float = quantity(
        "ohm", low=1e-3, high=50.0, example="900 mohm", why="slope of the voltage while it clamps"
    )
    leakage: float = quantity("A", low=0.0, high=0.01, example="1 uA", why="current at v_standoff")
    area: float = quantity("m2", low=1e-7, high=1e-3, example="14 mm2", why="board area")
    cost: float = quantity("1", low=0.0, high=1000.0, example="0.3", why="cost index; 1 is a typical small 30 V switch")
    origin: str = text(default="", why="where the row comes from; filled in when a table is read")


PART = PartKind(key="clamp-diode", title="clamp diode", record=ClampDiode, table="clamp_diode.csv")
