"""What happens in time to the shipped examples, as far as a study runs it."""

from chargewright.dossier.record import Dossier
from chargewright.report.chapters.transients import chapter
from chargewright.studies.transients.run import in_study, product_of


def test_every_example_keeps_its_limits_when_plug_and_load_change(dossier: Dossier):
    found, winner = dossier.transients, dossier.study.winner
    assert found is not None
    assert winner is not None
    assert dossier.stability is not None
    product = product_of(dossier.study.case, winner, dossier.stability)
    assert tuple(r.key for r in found.reports) == in_study(product)
    for r in found.reports:
        assert r.passes, r.cause
        # The bus after a pulled plug or a start is the pack's: below its full voltage, above what the rails need.
        if r.key != "load-step":
            end = float(r.waves.mean["v_bus"][-1])
            assert dossier.study.case.bus_min < end < dossier.study.case.v_full


def test_the_chapter_answers_its_question(dossier: Dossier):
    made = chapter(dossier)
    assert made is not None
    assert "every limit is kept" in str(made.blocks[0])
