"""The ledger: what comes in is what goes out or is lost, for one point or for many at once."""

import numpy as np
import pytest

from chargewright.base.ledger import Ledger


@pytest.fixture
def ledger() -> Ledger:
    ledger = Ledger()
    ledger.add("source", "source", "in", np.array([20.0, 10.0]))
    ledger.add("cable", "conduction", "loss", np.array([1.0, 0.25]))
    ledger.add("converter", "conduction", "loss", np.array([2.0, 0.5]))
    ledger.add("converter", "switching", "loss", 0.5)
    ledger.add("pack", "pack", "out", np.array([10.0, 4.0]))
    ledger.add("load", "load", "out", np.array([6.5, 4.75]))
    return ledger


def test_what_comes_in_goes_out_or_is_lost(ledger: Ledger):
    assert np.array_equal(ledger.total("in"), [20.0, 10.0])
    assert np.array_equal(ledger.total("out"), [16.5, 8.75])
    assert np.array_equal(ledger.total("loss"), [3.5, 1.25])
    assert np.array_equal(ledger.unaccounted, [0.0, 0.0])


def test_a_watt_that_is_missing_shows(ledger: Ledger):
    ledger.add("load", "load", "out", np.array([0.0, 1.0]))
    assert np.array_equal(ledger.unaccounted, [0.0, -1.0])
    assert np.array_equal(ledger.unaccounted_relative, [0.0, 0.1])


def test_losses_are_summed_by_place_in_the_order_of_the_path(ledger: Ledger):
    places = ledger.by_place()
    assert list(places) == ["cable", "converter"]
    assert np.array_equal(places["converter"], [2.5, 1.0])
    assert [e.cause for e in ledger.losses()] == ["conduction", "conduction", "switching"]


def test_an_empty_ledger_is_balanced():
    assert Ledger().unaccounted == 0.0
    assert Ledger().unaccounted_relative == 0.0
    assert Ledger().by_place() == {}


def test_single_numbers_do_as_well_as_arrays():
    ledger = Ledger()
    ledger.add("source", "source", "in", 3.0)
    ledger.add("switch", "conduction", "loss", 3.0)
    assert float(ledger.unaccounted) == 0.0
    assert float(ledger.by_place()["switch"]) == 3.0
