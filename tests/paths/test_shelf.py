"""What every power path on the shelf keeps to; a new file in `paths/` is tested by being there."""

import numpy as np
import pytest

from chargewright.base.errors import ChargewrightError
from chargewright.network.graph import STATES, PowerPath, State
from chargewright.network.hardware import Hardware, HotPart, StageParts, WireParts
from chargewright.network.ledger import ledger_of
from chargewright.network.solve import Conditions, Solution, solve
from chargewright.network.stage import CoilAt, Setting, SwitchAt
from chargewright.parts.regulator import generic_regulator
from chargewright.paths import shelf
from chargewright.spec.system import RailSpec

EVERY = pytest.mark.parametrize("key", shelf.keys())


def product(path: PowerPath) -> Hardware:
    """Return a sane product for a path: 10 mΩ switches, 4.7 µH, 600 kHz, one 3.3 V rail of 15 W."""
    four = path.stage.legs == "four-switch"
    switch = SwitchAt(10e-3, 8e-9, 2e-9, 2.2, 3.0, 250e-12, 10e-9, 15e-9, 0.8)
    stage = StageParts(
        a_high=switch,
        a_low=switch,
        b_low=switch if four else None,
        b_high=switch if four else None,
        coil=CoilAt(4.7e-6, 8.0, 2.5, 15e-3, 1.5, 1e6, 1.0, 1.35, 2.3, 1e-7, 2e-4),
        setting=Setting(0.0, 6e5, 25e-9, 5.0, 1e-3, 0.92, 0.5, 1.0, 0.3, 3e-3, 2e-3),
        hot={k: HotPart(temp_co=0.004, rth=20.0) for k in ("a_high", "a_low", "b_low", "b_high", "coil")},
    )
    return Hardware(
        wires={
            "blocking-pair": WireParts(r_25=20e-3, temp_co=0.004, rth=20.0, bodies=2),
            "sense-source": WireParts(r_25=10e-3, rth=30.0),
            "sense-charge": WireParts(r_25=10e-3, rth=30.0),
            "battery-switch": WireParts(r_25=8e-3, temp_co=0.004, rth=20.0),
        },
        stage=stage,
        rails=(generic_regulator(RailSpec(name="rail", voltage=3.3, power=15.0), 20.0, 0.8, 0.3),),
        r_board=10.0,
    )


def solved(path: PowerPath, state: State) -> Solution:
    """Return a state over a two-cell pack from emptyish to full, at 20 V of source and 10 W of load."""
    helped = state.key == "supplement"
    boosted = state.key == "battery-boost"
    e_cells = np.linspace(6.4, 8.3, 20)
    # Where nothing parts the pack from the bus, a bus that is held above the pack charges it: hold it where it rests.
    bus = e_cells + 0.02 if path.wire("battery-switch") is None else 8.6
    conditions = Conditions(
        e_source=20.0,
        r_source=0.02,
        r_cable=0.1,
        e_cells=e_cells,
        r_pack=0.08,
        p_load=30.0 if helped else 10.0,
        i_source=1.0 if helped else 1.2,
        i_pack=0.4 if state.key == "flat-pack" else 1.5,
        v_bus=12.0 if boosted else bus,
        temp_ambient=298.15,
    )
    return solve(path, state, product(path), conditions)


def test_the_shelf_has_the_six_paths_of_the_book():
    assert set(shelf.keys()) >= {
        "parallel",
        "direct",
        "direct-boost",
        "narrow-buck",
        "narrow-buck-boost",
        "narrow-through",
    }


def test_an_unknown_path_is_answered_with_the_nearest():
    with pytest.raises(ChargewrightError, match=r"did you mean 'direct-boost'"):
        shelf.get("direct-bost")


@EVERY
def test_the_key_is_the_file_name(key: str):
    assert shelf.get(key).key == key


@EVERY
def test_a_path_tells_what_it_is(key: str):
    path = shelf.get(key)
    assert path.title
    assert not path.title.endswith(".")
    assert len(path.idea.split(". ")) >= 2, "one paragraph for a reader who was not in the room"
    assert path.idea.endswith(".")
    assert path.strengths
    assert path.weaknesses
    assert not set(path.strengths) & set(path.weaknesses)
    assert path.controller_cost > 0.0


@EVERY
def test_every_node_is_used_and_every_wire_joins_two_of_them(key: str):
    path = shelf.get(key)
    ends = [(w.a, w.b) for w in path.wires] + [(path.stage.a, path.stage.b)]
    assert {"source", "bus", "cells"} <= set(path.nodes)
    assert path.load_at in path.nodes
    assert {node for pair in ends for node in pair} == set(path.nodes)
    assert all(a != b for a, b in ends)
    assert len({w.key for w in path.wires}) == len(path.wires)
    assert len({w.name for w in path.wires}) == len(path.wires)
    assert len(set(path.nodes.values())) == len(path.nodes), "labels tell nodes apart"


@EVERY
def test_source_and_pack_are_protected_and_measured(key: str):
    # Every path has its source behind a blocking pair and a sense resistor and its charge through a sense resistor.
    path = shelf.get(key)
    for kind in ("source", "cable", "blocking-pair", "sense-source", "sense-charge", "pack"):
        assert path.wire(kind) is not None, kind


@EVERY
def test_states_are_known_and_open_wires_that_exist(key: str):
    path = shelf.get(key)
    wires = {w.key for w in path.wires}
    assert len({s.key for s in path.states}) == len(path.states)
    for state in path.states:
        assert state.key in STATES
        if path.wire("battery-switch") is not None:
            assert state.open <= wires, state.key
        # What a path does not have needs no opening, but may be in a list that paths share.
        assert state.open - wires <= {"battery-switch"}, state.key
        assert state.linear is None or state.linear in wires - state.open, state.key
        assert state.source or "source" in state.open, f"{state.key}: a source that is gone is open"
        assert state.pack or "pack" in state.open, f"{state.key}: a pack that is gone is open"
        assert (state.held == "nothing") == (state.stage in ("off", "through")), state.key


@EVERY
def test_the_states_where_products_fail_are_not_skipped(key: str):
    path = shelf.get(key)
    found = {s.key for s in path.states}
    assert {"off", "source-only", "no-pack", "charging", "shared", "battery"} <= found
    # With charger, pack and load on one node there is nothing to start from while the pack is flat: its first weakness.
    assert "flat-pack" in found or path.wire("battery-switch") is None


@EVERY
def test_every_state_solves_for_a_sane_product_and_reaches_the_bus(key: str):
    path = shelf.get(key)
    for state in path.states:
        s = solved(path, state)
        assert s.ok.all(), state.key
        bus = s.v[path.load_at]
        assert np.all(bus > 5.0), state.key
        assert np.all(bus <= 20.0), state.key
        book = ledger_of(s)
        assert np.all(book.unaccounted_relative <= 1e-9), state.key
        assert np.all(book.total("out") >= 10.0 - 1e-9), state.key
        # Nothing but heat is lost, and less than half of what comes in, in a sane product.
        assert np.all(book.total("loss") < 0.5 * book.total("in")), state.key


@EVERY
def test_a_state_does_what_its_name_says(key: str):
    path = shelf.get(key)
    for state in path.states:
        s = solved(path, state)
        charge = s.i.get("pack", np.zeros(1))
        drawn = s.i.get("source", np.zeros(1))
        if state.key in ("charging", "flat-pack"):
            assert np.all(charge > 0.0) or state.held == "stage-current", state.key
        if state.key in ("supplement", "battery", "battery-boost", "off"):
            assert np.all(charge < 0.0), state.key
        if state.key in ("battery", "battery-boost", "off"):
            assert np.all(drawn == 0.0), state.key
        if state.key in ("shared", "supplement"):
            np.testing.assert_allclose(drawn, 1.0 if state.key == "supplement" else 1.2, rtol=1e-9)


@EVERY
def test_a_narrow_bus_stays_near_the_pack_and_a_direct_one_near_the_source(key: str):
    # CP04, CP05, common practice: with a two-cell pack and a 20 V adapter the bus is at the adapter on a direct path,
    # at the pack's 7 V to 8.4 V and a little on a narrow one (here the pack is down to 6.4 V, less 0.1 V on the way).
    path = shelf.get(key)
    charging = path.state("charging")
    assert charging is not None
    bus = solved(path, charging).v[path.load_at]
    if path.narrow:
        assert np.all((bus > 6.0) & (bus < 9.0))
    else:
        assert np.all((bus > 19.0) & (bus < 20.0))
