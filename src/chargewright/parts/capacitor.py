"""Capacitors: ceramic (falls with bias), polymer and electrolytic (age with heat)."""

from dataclasses import dataclass
from math import inf, nan
from typing import Literal

from chargewright.parts.kind import PartKind
from chargewright.spec.fields import quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class Capacitor:
    """One capacitor; under bias it keeps c_0 / (1 + (v/v_half)^bias_exponent), so half is left at v_half."""

    name: str = text(why="what the part list calls it; used once", example="CAP 10uF 25V ceramic 3.2mm")
    kind: Literal["ceramic", "polymer", "electrolytic"] = text(why="what it is made of", example="ceramic")
    c_0: float = quantity("F", low=1e-10, high=0.1, example="10 uF", why="capacitance without bias")
    tol_c: float = quantity("1", low=0.0, high=0.5, example="10 %", why="tolerance of the capacitance, to each side")
    v_max: float = quantity("V", low=2.0, high=1000.0, example="25 V", why="voltage rating")
    esr: float = quantity(
        "ohm", low=1e-5, high=10.0, example="3 mohm", why="series resistance at the switching frequency"
    )
    esl: float = quantity("H", low=1e-11, high=1e-7, example="0.8 nH", why="series inductance")
    v_half: float = quantity(
        "V",
        low=0.5,
        high=1e5,
        example="20 V",
        default=inf,
        why="bias that leaves half the capacitance; empty if none does",
    )
    bias_exponent: float = quantity(
        "1", low=0.5, high=6.0, example="1.5", default=1.0, why="how sharply the capacitance falls around v_half"
    )
    i_rms_max: float = quantity("A", low=1e-3, high=200.0, example="4 A", why="ripple current rating, rms")
    temp_max: float = quantity("K", low=323.15, high=473.15, example="125 degC", why="highest temperature of the part")
    life_rated: float = quantity(
        "s", low=3600.0, high=1e10, example="2000 h", default=nan, why="life at temp_max; empty if the part has no wear"
    )
    area: float = quantity("m2", low=1e-7, high=1e-2, example="8 mm2", why="board area")
    cost: float = quantity("1", low=0.0, high=1000.0, example="0.1", why="cost index; 1 is a typical small 30 V switch")
    origin: str = text(default="", why="where the row comes from; filled in when a table is read")


PART = PartKind(key="capacitor", title="capacitor", record=Capacitor, table="capacitor.csv")
