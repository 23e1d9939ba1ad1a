"""Current-sense resistors: the trade between watts and accuracy."""

from dataclasses import dataclass

from chargewright.parts.kind import PartKind
from chargewright.spec.fields import quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class SenseResistor:
    """One sense resistor, read at its inner pads."""

    name: str = text(why="what the part list calls it; used once", example="RES 10mohm 1% 3.2mm")
    r: float = quantity("ohm", low=5e-5, high=10.0, example="10 mohm", why="resistance at 25 °C")
    tol: float = quantity("1", low=0.0, high=0.2, example="1 %", why="tolerance of the resistance, to each side")
    temp_co: float = quantity(
        "1/K",
        low=0.0,
        high=5e-3,
        example="100 ppm/K",
        why="largest change of the resistance with temperature, either way",
    )
    p_max: float = quantity("W", low=0.01, high=50.0, example="1 W", why="power rating")
    rth: float = quantity("K/W", low=0.5, high=500.0, example="60 K/W", why="thermal resistance, element to board")
    area: float = quantity("m2", low=1e-7, high=1e-3, example="5.1 mm2", why="board area")
    cost: float = quantity("1", low=0.0, high=1000.0, example="0.3", why="cost index; 1 is a typical small 30 V switch")
    origin: str = text(default="", why="where the row comes from; filled in when a table is read")


PART = PartKind(key="sense-resistor", title="sense resistor", record=SenseResistor, table="sense_resistor.csv")
