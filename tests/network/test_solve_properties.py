"""What holds in every state of every path, whatever it is built of and asked for."""

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from chargewright.network.graph import PowerPath, State
from chargewright.network.hardware import Hardware
from chargewright.network.ledger import ledger_of
from chargewright.network.solve import DROPOUT, NO_SOLUTION, RUNAWAY, SOLVED, TEMP_RUNAWAY, Conditions, Solution, solve
from chargewright.paths import shelf

CONDITIONS = 60
EXAMPLES = settings(max_examples=3)
"""Each example is new hardware under `CONDITIONS` conditions."""


def different_states() -> list[tuple[PowerPath, State]]:
    """Return every state of every path; a state that two paths share to the last wire comes once."""
    found: dict[Any, tuple[PowerPath, State]] = {}
    for _, path in shelf.all():
        for state in path.states:
            found.setdefault((path.stage, path.wires, path.load_at, state), (path, state))
    return list(found.values())


STATES = different_states()


def each_state(test: Callable[..., None]) -> Callable[..., None]:
    """Run a test for every state of every path."""
    names = [f"{path.key}: {state.key}" for path, state in STATES]
    return pytest.mark.parametrize(("path", "state"), STATES, ids=names)(test)


@pytest.fixture(scope="session")
def drawn(
    random_hardware: Callable[..., Hardware], random_conditions: Callable[..., Conditions]
) -> Callable[[int, PowerPath, State], Solution]:
    """Return a function that solves random conditions on random hardware, the same for the same seed."""

    def make(seed: int, path: PowerPath, state: State) -> Solution:
        rng = np.random.default_rng(seed)
        hardware = random_hardware(rng, path)
        return solve(path, state, hardware, random_conditions(rng, path, CONDITIONS))

    return make


def losses(s: Solution) -> dict[str, Any]:
    """Return every loss that the ledger shows."""
    return {**s.wire_loss, **s.losses._asdict(), "rails": s.p_rails}


@each_state
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_every_watt_is_accounted_for(
    drawn: Callable[[int, PowerPath, State], Solution], path: PowerPath, state: State, seed: int
):
    s = drawn(seed, path, state)
    book = ledger_of(s)
    # The promise of the product: zero to rounding, and to the last Newton step, relative to all that comes in.
    assert np.all(book.unaccounted_relative[s.ok] <= 1e-9)
    # The ledger is of the states that exist; nothing is shown where there is none.
    assert np.all(np.isnan(book.unaccounted[~s.ok]))


@each_state
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_nothing_gains_and_nothing_is_colder_than_its_surroundings(
    drawn: Callable[[int, PowerPath, State], Solution], path: PowerPath, state: State, seed: int
):
    s = drawn(seed, path, state)
    for name, loss in losses(s).items():
        assert np.all(np.asarray(loss)[s.ok] >= 0.0), name
    for name, temp in s.temp.items():
        # A part's own ambient plus something: only rounding of the sum may go the other way.
        assert np.all(temp[s.ok] >= s.conditions.temp_ambient[s.ok] - 1e-9), name
        assert np.all(temp[s.ok] <= TEMP_RUNAWAY), name


@each_state
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_currents_balance_at_every_node_and_obey_ohm(
    drawn: Callable[[int, PowerPath, State], Solution], path: PowerPath, state: State, seed: int
):
    s = drawn(seed, path, state)
    ok, c = s.ok, s.conditions
    biggest = np.max([np.abs(i) for i in s.i.values()], axis=0)[ok]
    for node, v in s.v.items():
        if (node == "source" and state.source) or (node == "cells" and state.pack):
            continue
        into = np.zeros(CONDITIONS)
        for wire in path.wires:
            if wire.key in s.i:
                into += s.i[wire.key] * (float(node == wire.b) - float(node == wire.a))
        into -= s.i_a * float(node == path.stage.a)
        into += s.i_b * float(node == path.stage.b)
        if node == path.load_at:
            into -= (s.p_load + s.p_rails) / v
        if state.stage == "off" and node == (path.stage.a if state.fed_from == "a" else path.stage.b):
            into -= s.p_stage / v
        # The last Newton step moves nothing by more than 1e-10; a current is the difference of voltages over milliohms.
        assert np.all(np.abs(into[ok]) <= 1e-7 * (biggest + 1e-3)), node
    for key, r in (("source", c.r_source), ("cable", c.r_cable), ("pack", c.r_pack)):
        wire = path.wire(key)
        if key in s.i and wire is not None:
            drop = s.v[wire.a] - s.v[wire.b] - r * s.i[key]
            assert np.all(np.abs(drop[ok]) <= 1e-9 * np.abs(s.v[wire.a][ok])), key


@each_state
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_what_the_state_holds_is_held(
    drawn: Callable[[int, PowerPath, State], Solution], path: PowerPath, state: State, seed: int
):
    s = drawn(seed, path, state)
    c = s.conditions
    held = {
        "pack-current": lambda: (s.i["pack"], c.i_pack),
        "source-current": lambda: (s.i["source"], c.i_source),
        "bus-voltage": lambda: (s.v[path.load_at], c.v_bus),
        "stage-current": lambda: (s.i_b, c.i_pack),
        "nothing": lambda: (s.p_load, c.p_load),
    }[state.held]
    found, wanted = held()
    np.testing.assert_allclose(found[s.ok], wanted[s.ok], rtol=1e-9)
    if state.linear is not None:
        np.testing.assert_allclose(s.i[state.linear][s.ok], c.i_pack[s.ok], rtol=1e-9)
    if state.stage in ("forward", "reverse"):
        for duty in (s.waveform.d_in[s.ok], s.waveform.d_out[s.ok]):
            assert np.all((duty >= 0.0) & (duty <= 1.0))


@each_state
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_a_state_that_does_not_exist_says_so_and_shows_no_number(
    drawn: Callable[[int, PowerPath, State], Solution], path: PowerPath, state: State, seed: int
):
    s = drawn(seed, path, state)
    assert set(s.status) <= {SOLVED, NO_SOLUTION, RUNAWAY, DROPOUT}
    numbers = [*s.i.values(), *losses(s).values(), *s.temp.values(), s.i_a, s.i_b, s.p_load, *s.waveform]
    for values in numbers:
        assert np.all(np.isfinite(np.asarray(values)[s.ok]))
        assert np.all(np.isnan(np.asarray(values)[~s.ok]))


@each_state
@EXAMPLES
@given(seed=st.integers(0, 2**32 - 1))
def test_conditions_do_not_disturb_each_other(
    random_hardware: Callable[..., Hardware],
    random_conditions: Callable[..., Conditions],
    path: PowerPath,
    state: State,
    seed: int,
):
    rng = np.random.default_rng(seed)
    hardware = random_hardware(rng, path)
    many = random_conditions(rng, path, 40)
    alone = Conditions(**{name: getattr(many, name)[7] for name in Conditions.__dataclass_fields__})
    together, single = solve(path, state, hardware, many), solve(path, state, hardware, alone)
    assert together.status[7] == single.status[0]
    for key, i in single.i.items():
        # The same steps for the same condition, wherever it stands: rounding of vectorised arithmetic.
        np.testing.assert_allclose(together.i[key][7], i[0], rtol=1e-9, atol=1e-12)
