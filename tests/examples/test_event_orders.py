"""The examples in every order of events: what is clean, and what is found with the reason for it."""

import pytest


@pytest.mark.parametrize("name", ["tablet", "cart"])
def test_nothing_ends_badly(name, dossier_of):
    orders = dossier_of(name).orders
    assert orders.outcomes == ()
    assert all(s.whole and s.cycles == 0 for s in orders.sources)


def test_the_handheld_s_bursts_need_its_pack(dossier_of):
    # Arithmetic, no model: a burst of 130 W is more than 65 W of contract give, so with no charged pack the bus falls.
    orders = dossier_of("handheld").orders
    assert orders.outcomes
    assert {o.key for o in orders.outcomes} <= {"reset-on-source", "restart-loop"}
    for o in orders.outcomes:
        assert o.no_pack or "drain" in o.script
        assert o.cure is not None
    assert not any(
        f.severity in ("stop", "serious") for f in dossier_of("handheld").findings if f.check == "event-orders"
    )


@pytest.mark.parametrize("name", ["tablet", "handheld", "cart"])
def test_energy_is_accounted_for_in_every_transition(name, dossier_of):
    orders = dossier_of(name).orders
    # 1e-6 covers the rounding of thousands of implicit steps.
    assert max(s.unaccounted for s in orders.sources) < 1e-6
    assert all(s.orders > 1000 for s in orders.sources)


def test_a_source_that_the_study_leaves_out_is_named(dossier_of):
    # The weaker source of the handheld spends the study's budget.
    orders = dossier_of("handheld").orders
    run = {s.source for s in orders.sources}
    assert run | set(orders.left_out) == {"desk charger", "travel charger"}
    assert "travel charger" in run
