"""Each limit cycle provoked on purpose by a small invented machine, found, named, and gone after its cure."""

import pytest
from event_machines import BOOST, DIRECT, NARROW, TALKS, WEAK

from chargewright.sim import sequence_rules as code
from chargewright.sim.sequence_search import explore
from chargewright.studies.sequences.cures import cure_of
from chargewright.studies.sequences.judge import cycle_key, verdicts
from chargewright.studies.sequences.script import last

# What each machine does follows from its figures: a load beyond the trip point, a limit above it, a droop below the
# reset, supplement that ends although the load needs it.  Common practice; the names are this project's.
STIFF = NARROW._replace(p_busy=62.0, p_most=100.0)
PROVOKED = {
    "trip-and-restart": (DIRECT._replace(p_busy=90.0), "remove, plug, boot, step"),
    "trip-and-return": (DIRECT._replace(p_busy=80.0, r_pack=0.02, t_close=1e-6, v_off=5.0), "plug, boot, step"),
    "input-chatter": (WEAK, "remove, plug"),
    "restart-loop": (
        DIRECT._replace(locks=False, r_pack=0.3, p_boot=16.0, ocv_half=6.4, v_shut=0.0, v_cut=0.0),
        "boot",
    ),
    "flapping": (STIFF._replace(headroom=-0.03), "plug, fill, boot, step"),
    "protection-loop": (
        NARROW._replace(
            switched=False,
            ocv_flat=5.9,
            r_pack=0.02,
            r_switch=0.0,
            v_off=5.0,
            v_on=5.2,
            p_busy=80.0,
            v_cut=5.85,
            v_shut=0.0,
        ),
        "plug, boot, step, drain",
    ),
}


@pytest.mark.parametrize("key", PROVOKED)
def test_a_provoked_cycle_is_found_and_named(key):
    machine, script = PROVOKED[key]
    found = last(machine, script.split(", "))
    assert found.ending == "limit cycle"
    assert cycle_key(found.cycle) == key
    assert found.period > 0.0


@pytest.mark.parametrize("key", PROVOKED)
def test_a_cure_is_tried_and_clears_it(key):
    machine, script = PROVOKED[key]
    words = tuple(script.split(", "))
    verdict = next(v for v in verdicts(machine, last(machine, words), words[-1]) if v.key == key)
    cure = cure_of(machine, words, verdict)
    assert cure is not None
    assert cure.clears
    assert cure.change


def test_headroom_beyond_the_error_of_sensing_ends_the_flapping():
    assert last(STIFF._replace(headroom=0.03), ("plug", "fill", "boot", "step")).ending == "at rest"


def test_holding_the_input_up_ends_the_chatter():
    held = WEAK._replace(v_hold_0=4.2, v_hold_1=4.2)
    assert last(held, ("remove", "plug")).ending == "at rest"


def test_a_latching_source_stays_off_until_it_is_re_plugged():
    machine = DIRECT._replace(p_busy=90.0, kind=code.LATCHES)
    found = last(machine, ("remove", "plug", "boot", "step"))
    assert found.end.now[code.SRC] == code.TRIPPED
    assert "latched-off" in {v.key for v in verdicts(machine, found, "step")}
    assert last(machine, ("remove", "plug", "boot", "step", "shut", "unplug", "plug")).end.now[code.IN] == code.FED


def test_a_side_stage_that_turns_too_late_lets_the_source_trip():
    quick = BOOST._replace(p_busy=80.0)
    slow = quick._replace(t_help=10e-3)
    assert last(quick, ("plug", "boot", "step")).end.now[code.HELP] == code.HELPS
    assert last(slow, ("plug", "boot", "step")).ending == "limit cycle"


def test_usb_power_delivery_takes_the_times_of_the_standard():
    # tSrcTransition 25 to 35 ms, tSrcSettle up to 275 ms (check-values row UP21, confirmed by look-up): 310 ms at most.
    machine = TALKS._replace(t_move=0.31)
    found = last(machine, ("plug", "contract"))
    assert found.end.now[code.AT] == 1
    moved = next(c.t for c in found.changes if c.now[code.AT] == 1)
    assert moved == pytest.approx(0.31, abs=1e-9)


def test_a_hard_reset_comes_back_to_the_contract_by_itself():
    found = last(TALKS, ("plug", "contract", "reset"))
    assert found.ending == "at rest"
    assert found.end.now[code.AT] == 1


def test_a_search_covers_every_order_and_says_how_many():
    graph = explore(DIRECT, only=("plug", "unplug", "boot", "shut"))
    # Two switches, source and product, each on or off, and the bus at the start: by hand, off/off with an empty bus,
    # off/off with the pack on the bus, and the three others.
    assert graph.whole
    assert {n.ending for n in graph.nodes} == {"at rest"}
    # Two events can happen at each state whatever came before: 2 + 4 + … + 64 orders of up to six events.
    assert graph.orders == sum(2**k for k in range(1, 7))
    assert len(graph.edges) == 2 * len(graph.nodes)


def test_events_before_all_is_at_rest_lead_on_from_there():
    graph = explore(TALKS, only=("plug", "contract", "boot", "unplug"), midway=2)
    early = [e for e in graph.edges if len(e.words) == 2]
    assert early
    edge = next(e for e in early if e.words[1] == "unplug")
    replayed = last(TALKS, graph.script_of(edge))
    assert replayed.end.now == graph.nodes[edge.end].at.now


def test_a_search_that_is_cut_off_says_so():
    assert not explore(DIRECT, most=2).whole
