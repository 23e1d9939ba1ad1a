"""Power switches: n-channel, driven at 5 V, on a board that takes their heat."""

from dataclasses import dataclass

from chargewright.parts.kind import PartKind
from chargewright.spec.fields import quantity, text


@dataclass(frozen=True, slots=True, kw_only=True)
class Switch:
    """One switch with its body diode; values are typical, at 25 °C and 5 V of drive unless a field says otherwise."""

    name: str = text(why="what the part list calls it; used once", example="SW 30V 4.8mohm A")
    v_max: float = quantity("V", low=5.0, high=1000.0, example="30 V", why="drain-source voltage rating")
    i_max: float = quantity("A", low=0.1, high=1000.0, example="40 A", why="continuous current rating")
    r_on_25: float = quantity(
        "ohm", low=5e-5, high=2.0, example="4.8 mohm", why="on-resistance at 25 °C and 5 V of drive"
    )
    r_on_temp_co: float = quantity(
        "1/K",
        low=0.0,
        high=0.02,
        example="0.38 %/K",
        why="rise of the on-resistance with temperature, over its 25 °C value",
    )
    q_gate: float = quantity("C", low=1e-11, high=1e-6, example="7 nC", why="total gate charge at 5 V of drive")
    q_sw: float = quantity(
        "C",
        low=1e-12,
        high=1e-6,
        example="2 nC",
        why="gate charge while current and voltage change hands (gate-drain plus the last of gate-source)",
    )
    v_plateau: float = quantity("V", low=0.5, high=10.0, example="2.4 V", why="gate voltage while the drain swings")
    r_gate: float = quantity("ohm", low=0.0, high=100.0, example="1.1 ohm", why="gate resistance inside the part")
    c_oss_energy: float = quantity(
        "F",
        low=1e-12,
        high=1e-7,
        example="500 pF",
        why="output capacitance that stores the same energy, charged to half the voltage rating",
    )
    q_rr: float = quantity("C", low=0.0, high=1e-5, example="9 nC", why="recovery charge of the body diode")
    t_rr: float = quantity(
        "s",
        low=0.0,
        high=1e-6,
        example="4 ns",
        why="part of the recovery during which the other switch still carries full voltage and current (not all of it)",
    )
    v_f: float = quantity("V", low=0.2, high=4.0, example="0.75 V", why="forward voltage of the body diode")
    rth_jb: float = quantity("K/W", low=0.05, high=200.0, example="5 K/W", why="thermal resistance, junction to board")
    area: float = quantity("m2", low=1e-7, high=1e-3, example="10.9 mm2", why="board area of the package")
    cost: float = quantity("1", low=0.0, high=1000.0, example="1", why="cost index; 1 is a typical small 30 V switch")
    temp_j_max: float = quantity("K", low=333.15, high=523.15, example="150 degC", why="highest junction temperature")
    origin: str = text(default="", why="where the row comes from; filled in when a table is read")


PART = PartKind(key="switch", title="switch", record=Switch, table="switch.csv")
