"""Any stage that can be built runs, and its energy closes."""

import math

from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.circuit.circuit import Circuit, Gate
from chargewright.circuit.elements import Element
from chargewright.circuit.measures import energies, window
from chargewright.circuit.run import run
from chargewright.circuit.stages import (
    Bank,
    CoilSide,
    PackSide,
    SourceSide,
    SwitchSide,
    four_switch,
    load_resistor,
    pack_at,
    source_at,
)


def decades(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(math.log10(low), math.log10(high)).map(lambda x: 10.0**x)


@st.composite
def stages(draw: st.DrawFn) -> Circuit:
    sides = [SwitchSide(r_on=draw(decades(1e-3, 0.2)), v_f=draw(st.floats(0.2, 1.2)), r_d=draw(decades(1e-3, 0.1)),
                        emulate=draw(st.booleans())) for _ in range(4)]  # fmt: skip
    size = draw(decades(0.3e-6, 30e-6))
    bends = ((draw(st.floats(1.0, 6.0)), 0.4 * size),) if draw(st.booleans()) else ()
    coil = CoilSide(l=size, dcr=draw(decades(1e-3, 0.1)), bends=bends)
    v_in, v_out = draw(st.floats(3.0, 30.0)), draw(st.floats(3.0, 30.0))
    banks = [Bank(c=draw(decades(1e-6, 1e-3)), esr=draw(decades(1e-3, 0.1)), start=v) for v in (v_in, v_out)]
    source = source_at("in", SourceSide(v=v_in, r=draw(decades(1e-3, 0.5)), l=draw(decades(1e-9, 5e-6))))
    pack = pack_at("out", PackSide(ocv=v_out, r0=draw(decades(5e-3, 0.5)), pairs=((0.02, 0.01),)))
    load: tuple[Element, ...] = load_resistor("out", draw(decades(1.0, 1e3)))
    elements = four_switch((sides[0], sides[1], sides[2], sides[3]), coil, banks[0], banks[1], source, pack, load)
    gates: list[Gate] = []
    for high, low in (("a_high", "a_low"), ("b_high", "b_low")):
        d = draw(st.floats(0.05, 0.9))
        begin = draw(st.floats(0.0, 0.05))
        gates.append(Gate(switch=high, on=begin, off=begin + d))
        if draw(st.booleans()):
            gates.append(Gate(switch=low, on=begin + d + 0.005, off=(begin - 0.005) % 1.0))
    return Circuit(elements=elements, period=draw(decades(0.5e-6, 10e-6)), gates=tuple(gates), title="any")


@settings(max_examples=25)
@given(stages())
def test_the_energy_of_any_stage_closes(circuit: Circuit) -> None:
    # 1e-6 of what changed hands is the product's bound; rounding leaves far less in most.
    parts = energies(window(run(circuit, cycles=6)))
    assert abs(parts.unaccounted) <= 1e-6 * parts.turnover
    # No element of resistance gives energy.
    assert min(parts.losses.values()) >= -1e-9 * parts.turnover
