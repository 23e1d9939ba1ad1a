"""Hardware and conditions for the network's tests: plain ones by name, random ones by seed."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest

from chargewright.network.graph import PowerPath, StateKey, WireKind
from chargewright.network.hardware import Hardware, HotPart, StageParts, WireParts
from chargewright.network.solve import Conditions, Solution, solve
from chargewright.network.stage import CoilAt, Setting, SwitchAt
from chargewright.parts.regulator import Regulator, generic_regulator
from chargewright.paths import shelf
from chargewright.spec.system import RailSpec

PLACES = ("a_high", "a_low", "b_low", "b_high", "coil")
WIRES: tuple[WireKind, ...] = ("blocking-pair", "sense-source", "sense-charge", "battery-switch")
SWITCH = SwitchAt(10e-3, 8e-9, 2e-9, 2.2, 3.0, 250e-12, 10e-9, 15e-9, 0.8)
COIL = CoilAt(4.7e-6, 8.0, 2.5, 15e-3, 1.5, 1e6, 1.0, 1.35, 2.3, 1e-7, 2e-4)
SETTING = Setting(0.0, 6e5, 25e-9, 5.0, 1e-3, 0.92, 0.5, 1.0, 0.3, 3e-3, 2e-3)


@pytest.fixture(scope="session")
def plain_hardware() -> Callable[..., Hardware]:
    """Return a function that makes a product of ordinary parts; wires by key in Ω, other fields as in `Hardware`."""

    def make(path: PowerPath, **changes: Any) -> Hardware:
        four = path.stage.legs == "four-switch"
        resistances: dict[WireKind, float] = {
            "blocking-pair": 20e-3,
            "sense-source": 10e-3,
            "sense-charge": 10e-3,
            "battery-switch": 8e-3,
        }
        fields: dict[str, Any] = {
            "wires": {
                key: WireParts(r_25=r, temp_co=0.004, rth=20.0, bodies=2 if key == "blocking-pair" else 1)
                for key, r in resistances.items()
            },
            "stage": StageParts(
                a_high=SWITCH,
                a_low=SWITCH,
                b_low=SWITCH if four else None,
                b_high=SWITCH if four else None,
                coil=COIL,
                setting=SETTING,
                hot={place: HotPart(temp_co=0.004, rth=20.0) for place in PLACES},
            ),
            "rails": (generic_regulator(RailSpec(name="rail", voltage=3.3, power=15.0), 20.0, 0.8, 0.3),),
            "r_board": 10.0,
        }
        return Hardware(**(fields | changes))

    return make


@pytest.fixture(scope="session")
def bare_hardware(plain_hardware: Callable[..., Hardware]) -> Callable[..., Hardware]:
    """Return a function that makes a product without resistance, loss or heat but for the wires that it is given."""

    def make(path: PowerPath, wires: dict[WireKind, WireParts] | None = None, **changes: Any) -> Hardware:
        ideal = SwitchAt(0.0, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0, 0.0, 0.0)
        four = path.stage.legs == "four-switch"
        stage = StageParts(
            a_high=ideal,
            a_low=ideal,
            b_low=ideal if four else None,
            b_high=ideal if four else None,
            coil=CoilAt(100e-6, 1e9, 2.0, 0.0, 1.0, 1e6, 0.0, 1.5, 2.5, 1e-9, 1e-3),
            setting=SETTING._replace(t_dead=0.0, i_quiescent=0.0, emulate=0.0, esr_in=0.0, esr_out=0.0),
            hot={place: HotPart(temp_co=0.0, rth=0.0) for place in PLACES},
        )
        none = dict.fromkeys(WIRES, WireParts(r_25=0.0))
        return plain_hardware(
            path, **({"stage": stage, "rails": (), "r_board": 0.0} | changes), wires=none | (wires or {})
        )

    return make


@pytest.fixture(scope="session")
def solve_state() -> Callable[..., Solution]:
    """Return a function that solves a path of the shelf in one of its states."""

    def run(path: str, state: StateKey, hardware: Hardware, **conditions: Any) -> Solution:
        shelved = shelf.get(path)
        found = shelved.state(state)
        assert found is not None
        return solve(shelved, found, hardware, Conditions(**conditions))

    return run


def _between(rng: np.random.Generator, low: float, high: float, n: int | None = None) -> Any:
    """Return numbers spread evenly over the decades between two limits."""
    return np.exp(rng.uniform(np.log(low), np.log(high), n))


def _switch(rng: np.random.Generator) -> SwitchAt:
    # Charge and capacitance of a switch go with the area of its die, so against its resistance.
    r_on = _between(rng, 2e-3, 40e-3)
    return SwitchAt(
        r_on,
        8e-11 / r_on,
        2e-11 / r_on,
        rng.uniform(1.5, 3.0),
        _between(rng, 1.0, 8.0),
        2.5e-12 / r_on,
        1e-10 / r_on,
        15e-9,
        rng.uniform(0.5, 1.1),
    )


def _rails(rng: np.random.Generator) -> tuple[Regulator, ...]:
    kinds = ("buck", "boost", "buck-boost", "linear", "direct")
    return tuple(
        generic_regulator(
            RailSpec(
                name=f"rail {k}",
                voltage=float(rng.uniform(0.8, 5.0)),
                power=float(_between(rng, 0.5, 30.0)),
                regulator=kinds[int(rng.integers(len(kinds)))],
            ),
            30.0,
            0.8,
            0.3,
        )
        for k in range(int(rng.integers(0, 4)))
    )


@pytest.fixture(scope="session")
def random_hardware() -> Callable[..., Hardware]:
    """Return a function that makes a product of random parts, from careful to careless, for a path."""

    def make(rng: np.random.Generator, path: PowerPath) -> Hardware:
        four = path.stage.legs == "four-switch"
        coil = CoilAt(
            _between(rng, 1e-6, 22e-6),
            _between(rng, 4.0, 20.0),
            rng.uniform(2.0, 8.0),
            _between(rng, 3e-3, 50e-3),
            rng.uniform(1.0, 4.0),
            1e6,
            rng.uniform(0.0, 2.0),
            rng.uniform(1.2, 1.7),
            rng.uniform(2.1, 2.9),
            _between(rng, 2e-8, 5e-7),
            _between(rng, 5e-5, 5e-4),
        )
        setting = Setting(
            0.0,
            _between(rng, 2e5, 2e6),
            rng.uniform(5e-9, 40e-9),
            5.0,
            _between(rng, 1e-5, 5e-3),
            rng.uniform(0.85, 0.95),
            rng.uniform(0.0, 1.0),
            float(rng.integers(2)),
            rng.uniform(0.1, 0.5),
            _between(rng, 0.5e-3, 2e-2),
            _between(rng, 0.5e-3, 2e-2),
        )
        stage = StageParts(
            a_high=_switch(rng),
            a_low=_switch(rng),
            b_low=_switch(rng) if four else None,
            b_high=_switch(rng) if four else None,
            coil=coil,
            setting=setting,
            hot={k: HotPart(temp_co=rng.uniform(0.003, 0.006), rth=_between(rng, 2.0, 40.0)) for k in PLACES},
        )
        wires: dict[WireKind, WireParts] = {
            key: WireParts(
                r_25=_between(rng, 1e-3, 40e-3),
                temp_co=rng.uniform(0.0, 0.006),
                rth=_between(rng, 2.0, 40.0),
                bodies=2 if key == "blocking-pair" else 1,
            )
            for key in WIRES
        }
        return Hardware(wires=wires, stage=stage, rails=_rails(rng), r_board=_between(rng, 1.0, 15.0))

    return make


@pytest.fixture(scope="session")
def random_conditions() -> Callable[..., Conditions]:
    """Return a function that draws n conditions for a path and state; some are beyond what a product can do."""

    def make(rng: np.random.Generator, path: PowerPath, n: int) -> Conditions:
        e_cells = rng.uniform(5.5, 13.0, n)
        above = rng.uniform(1.0, 12.0, n)
        any_voltage = path.stage.legs == "four-switch"
        lift = rng.uniform(0.0, 0.5, n) if path.key == "parallel" else rng.uniform(0.05, 3.0, n)
        return Conditions(
            e_source=rng.uniform(4.5, 28.0, n) if any_voltage else e_cells + above,
            r_source=_between(rng, 1e-3, 0.1, n),
            r_cable=_between(rng, 1e-2, 0.3, n),
            e_cells=e_cells,
            r_pack=_between(rng, 0.02, 0.3, n),
            p_load=_between(rng, 0.05, 40.0, n) * (rng.random(n) > 0.05),
            i_source=rng.uniform(0.2, 4.0, n),
            i_pack=rng.uniform(0.05, 4.0, n),
            v_bus=e_cells + lift,
            temp_ambient=rng.uniform(253.0, 333.0, n),
        )

    return make
