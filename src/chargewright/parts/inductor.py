"""Power inductors: inductance that falls with current, winding and core loss."""

from dataclasses import dataclass

from chargewright.parts.kind import PartKind
from chargewright.spec.fields import quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class Inductor:
    """One inductor; inductance follows l_0 / (1 + 3/7·(i/i_sat)^sat_exponent), so 70 % is left at i_sat."""

    name: str = text(why="what the part list calls it; used once", example="IND 4.7uH 7mm composite")
    l_0: float = quantity("H", low=1e-9, high=1e-2, example="4.7 uH", why="inductance at no current")
    tol_l: float = quantity("1", low=0.0, high=0.5, example="20 %", why="tolerance of the inductance, to each side")
    dcr_25: float = quantity("ohm", low=1e-5, high=10.0, example="24 mohm", why="winding resistance at 25 °C")
    i_sat: float = quantity("A", low=0.05, high=1000.0, example="10 A", why="current that takes 30 % of the inductance")
    sat_exponent: float = quantity(
        "1", low=1.0, high=20.0, example="2.75", why="how sharply it saturates: 2.5 to 3 composite, 8 ferrite"
    )
    i_rms: float = quantity("A", low=0.05, high=1000.0, example="6.4 A", why="direct current that heats it by 40 K")
    k_core: float = quantity(
        "1",
        low=0.0,
        high=1e9,
        example="46",
        why="Steinmetz coefficient: loss density k·f^alpha·b^beta of a sine, in W/m3, Hz and T (peak)",
    )
    alpha: float = quantity("1", low=1.0, high=3.0, example="1.3", why="Steinmetz exponent of the frequency")
    beta: float = quantity("1", low=1.0, high=4.0, example="2.3", why="Steinmetz exponent of the flux density")
    volume: float = quantity(
        "m3", low=1e-11, high=1e-3, example="80 mm3", why="core volume that the loss density fills"
    )
    turns_area: float = quantity(
        "m2", low=1e-8, high=1.0, example="90 mm2", why="turns times core area: flux linkage over flux density"
    )
    ac_ratio: float = quantity(
        "1", low=1.0, high=200.0, example="3.8", why="winding resistance at f_ref over that at direct current"
    )
    f_ref: float = quantity("Hz", low=1e3, high=1e8, example="500 kHz", why="frequency at which ac_ratio holds")
    rth: float = quantity("K/W", low=0.5, high=500.0, example="30 K/W", why="thermal resistance, winding to board")
    temp_max: float = quantity("K", low=333.15, high=473.15, example="125 degC", why="highest temperature of the part")
    area: float = quantity("m2", low=5e-7, high=1e-2, example="49 mm2", why="board area")
    height: float = quantity("m", low=2e-4, high=0.1, example="3 mm", why="height above the board")
    cost: float = quantity("1", low=0.0, high=1000.0, example="1", why="cost index; 1 is a typical small 30 V switch")
    origin: str = text(default="", why="where the row comes from; filled in when a table is read")


PART = PartKind(key="inductor", title="inductor", record=Inductor, table="inductor.csv")
