"""The figure of a script of events, and the tables about orders."""

import xml.etree.ElementTree as ET

from event_machines import DIRECT

from chargewright.report.data.sequences import orders_table, rest_table, searched_table, waveform_table
from chargewright.report.figures.sequence import sequence_picture
from chargewright.sim.sequence_search import explore
from chargewright.studies.sequences.record import Sequences
from chargewright.studies.sequences.run import source_orders
from chargewright.studies.sequences.script import parse_script, run_script

WEAK = DIRECT._replace(p_busy=90.0)


def test_it_draws_every_event_and_says_what_it_shows():
    legs = run_script(DIRECT, parse_script("plug, boot, step, unplug@5 ms"), record=True)
    picture = sequence_picture(legs, "It holds.")
    ET.fromstring(picture.svg)
    assert picture.wide
    assert picture.message == "It holds."
    for word in ("plug", "boot", "step", "unplug"):
        assert word in picture.alt


def test_a_limit_cycle_of_many_changes_is_still_a_figure():
    legs = run_script(WEAK, parse_script("remove, plug, boot, step"), record=True)
    ET.fromstring(sequence_picture(legs, "It trips.").svg)


def test_the_waveform_has_a_row_for_every_step_and_time_never_runs_back():
    legs = run_script(DIRECT, parse_script("plug, boot"), record=True)
    table = waveform_table(legs)
    at = [c.key for c in table.columns].index("t")
    times = [row[at] for row in table.rows]
    assert len(times) == sum(len(leg.passage.rows) for leg in legs)
    assert times == sorted(times)


def test_the_tables_hold_every_state_and_every_bad_outcome():
    graph = explore(WEAK)
    found = Sequences(
        path="direct",
        sources=(source_orders(WEAK, graph, "adapter", "20 V 3.25 A"),),
        left_out=(),
        assumptions=(),
    )
    assert len(rest_table(found).rows) == len(graph.nodes)
    outcomes = [row[2] for row in orders_table(found).rows]
    assert "trip-and-restart" in outcomes
    assert searched_table(found).rows[0][2] == len(graph.nodes)
