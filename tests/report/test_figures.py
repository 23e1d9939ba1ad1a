"""Figures: what is written in them, what they say to those who cannot see them, and that they are sound SVG."""

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest

from chargewright.base.units import show
from chargewright.dossier.record import Dossier
from chargewright.network.graph import PowerPath
from chargewright.paths import shelf
from chargewright.report.blocks import Picture
from chargewright.report.figures._path_layout import STAGE, flow_of, layout_of
from chargewright.report.figures._svg import Board
from chargewright.report.figures.bus_windows import bus_windows_picture
from chargewright.report.figures.charge_curves import charge_picture
from chargewright.report.figures.charge_power import charge_power_picture
from chargewright.report.figures.day import day_picture
from chargewright.report.figures.day_energy import day_energy_picture
from chargewright.report.figures.decision_map import decision_map_picture
from chargewright.report.figures.efficiency import efficiency_picture
from chargewright.report.figures.ladder import ladder_picture, overlaps
from chargewright.report.figures.pareto import pareto_picture
from chargewright.report.figures.power_flow import power_flow, widest_flow
from chargewright.report.figures.rail_cost import rail_cost_picture
from chargewright.report.figures.scores import scores_picture
from chargewright.report.figures.sense_trade import sense_pictures
from chargewright.report.palette import PACK, SOURCE
from chargewright.studies.ladder import Ladder, ladder_findings

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def words(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Return what is written into figures from now on; in the figures themselves words are outlines."""
    written: list[str] = []
    write = Board.text

    def recorded(self: Board, x: float, y: float, text: str, **rest: object) -> float:
        written.append(text)
        return write(self, x, y, text, **rest)

    monkeypatch.setattr(Board, "text", recorded)
    return written


def test_every_figure_is_sound_svg_with_a_title_and_no_fonts(pictures: dict[str, Picture]):
    assert len(pictures) > 20
    for p in pictures.values():
        root = ElementTree.fromstring(p.svg)
        assert root.tag == f"{SVG}svg"
        assert root.findtext(f"{SVG}title")
        assert not list(root.iter(f"{SVG}text")), "text has to be outlines: fonts differ from machine to machine"
        _, _, width, height = (float(v) for v in root.attrib["viewBox"].split())
        assert 60.0 < height < 700.0
        assert width >= 400.0


def test_every_figure_says_its_message_in_words_with_numbers(pictures: dict[str, Picture]):
    for p in pictures.values():
        assert len(p.alt) > 40
        assert p.message in p.alt
        assert re.search("[0-9]", p.message)
        assert p.message.endswith((".", "!"))


def test_nothing_is_drawn_outside_the_sheet(pictures: dict[str, Picture]):
    for p in pictures.values():
        root = ElementTree.fromstring(p.svg)
        _, _, width, height = (float(v) for v in root.attrib["viewBox"].split())
        for box in root.iter(f"{SVG}rect"):
            x, y = float(box.attrib.get("x", 0)), float(box.attrib.get("y", 0))
            assert x >= -0.5, p.key
            assert y >= -0.5, p.key
            assert x + float(box.attrib["width"]) <= width + 0.5, p.key
            assert y + float(box.attrib["height"]) <= height + 0.5, p.key
        for c in root.iter(f"{SVG}circle"):
            assert 0.0 <= float(c.attrib["cx"]) <= width, p.key
            assert 0.0 <= float(c.attrib["cy"]) <= height, p.key


def test_no_word_leaves_the_sheet(dossier: Dossier, monkeypatch: pytest.MonkeyPatch):
    write = Board.text

    def watched(self: Board, x: float, y: float, text: str, **rest: object) -> float:
        wide = write(self, x, y, text, **rest)
        left = x - {"start": 0.0, "middle": 0.5, "end": 1.0}[str(rest.get("anchor", "start"))] * wide
        assert left >= 0.0, (self.key, text)
        assert left + wide <= self.width + 0.5, (self.key, text)
        assert 0.0 < y <= self.height, (self.key, text)
        return wide

    monkeypatch.setattr(Board, "text", watched)
    assert len(all_figures(dossier)) > 20


def all_figures(dossier: Dossier) -> list[Picture]:
    """Draw every figure anew."""
    study = dossier.study
    w = study.winner
    assert w is not None
    assert w.sizing is not None
    assert w.charge is not None
    assert w.day is not None
    assert study.map is not None
    pack = study.case.pack
    widest = widest_flow(w.path, w.states)
    curve = efficiency_picture(w.states)
    assert curve is not None
    return [
        decision_map_picture(study.map, study.case),
        scores_picture(study),
        *(power_flow(w.path, r, widest) for r in w.states),
        curve,
        bus_windows_picture(study),
        rail_cost_picture(study),
        pareto_picture(w.sizing, w.path.key),
        *sense_pictures(w.sizing),
        charge_picture(w.charge, pack.series, pack.v_cell_max),
        charge_power_picture(w.charge),
        day_picture(w.day, study.case),
        day_energy_picture(study),
        *(ladder_picture(ladder) for ladder in dossier.ladders),
    ]


def test_every_axis_names_its_unit(dossier: Dossier, words: list[str]):
    all_figures(dossier)
    for label in (
        "mean system power in W",
        "share of time on the source in %",
        "bus voltage in V",
        "loss of all rails in W",
        "efficiency in %",
        "state of charge in %",
        "mean loss of the stage in W",
        "cost index",
        "worst error at termination in %",
        "loss at full current in mW",
        "V per cell",
        "pack current in A",
        "cell temperature in °C",
        "power in W",
        "energy in Wh",
        "time in h",
    ):
        assert label in words, label
    for ladder in dossier.ladders:
        assert f"{ladder.title} in {ladder.unit}" in words


def test_the_same_study_draws_the_same_figures(dossier: Dossier):
    assert all_figures(dossier) == all_figures(dossier)


# Power flow


@pytest.mark.parametrize("path", [p for _, p in shelf.all()], ids=list(shelf.keys()))
def test_every_path_is_laid_out_with_each_element_once(path: PowerPath):
    layout = layout_of(path)
    assert layout.nodes[0] == "source"
    assert layout.nodes[-1] == "cells"
    assert path.load_at in layout.nodes
    keys = [link.key for link in (*layout.trunk, *layout.beside)]
    assert sorted(keys) == sorted([STAGE, *(w.key for w in path.wires)])
    assert [link.upper for link in layout.trunk] == list(layout.nodes[:-1])
    assert [link.lower for link in layout.trunk] == list(layout.nodes[1:])
    order = {n: k for k, n in enumerate(layout.nodes)}
    for link in (*layout.trunk, *layout.beside):
        assert order[link.upper] < order[link.lower]


def test_every_watt_in_a_picture_is_accounted_for(dossier: Dossier):
    # What enters an element leaves it or is lost; what reaches a node leaves it. Tolerance: the solver's own balance.
    checked = 0
    for p in dossier.study.paths:
        layout = layout_of(p.path)
        for r in p.states:
            if not r.possible:
                continue
            s, k = r.solution, r.usual
            flows = [flow_of(link, s, k) for link in (*layout.trunk, *layout.beside)]
            for f in flows:
                if f.link.key != STAGE or s.state.stage != "off":
                    assert f.p_upper - f.p_lower == pytest.approx(f.loss, abs=1e-7), (p.path.key, r.key, f.link.key)
            p_load = float(s.p_load[k] + s.p_rails[k])
            fed = p.path.stage.a if s.state.fed_from == "a" else p.path.stage.b
            for node in layout.nodes[1:-1]:
                reaching = sum(f.p_lower for f in flows if f.link.lower == node)
                leaving = sum(f.p_upper for f in flows if f.link.upper == node)
                used = p_load if node == p.path.load_at else 0.0
                # A stage that stands still takes its controller's supply from one side.
                used += float(s.p_stage[k]) if s.state.stage == "off" and node == fed else 0.0
                assert reaching - leaving == pytest.approx(used, abs=1e-6), (p.path.key, r.key, node)
            checked += 1
    assert checked > 10


def test_a_picture_tells_numbers_of_its_state(dossier: Dossier, words: list[str]):
    w = dossier.study.winner
    assert w is not None
    widest = widest_flow(w.path, w.states)
    for r in w.states:
        if not r.possible:
            continue
        words.clear()
        power_flow(w.path, r, widest)
        s, k = r.solution, r.usual
        assert f"rails deliver {show(float(s.p_load[k]), 'W', 3)}" in words
        assert f"regulators lose {show(float(s.p_rails[k]), 'W', 3)}" in words
        assert f"lost in the product: {show(float(r.p_loss[k]), 'W', 3)}" in words
        for key in s.wire_loss:
            if float(s.wire_loss[key][k]) > 1e-5:
                loss = show(float(s.wire_loss[key][k]), "W", 3)
                assert any(word.startswith(loss) for word in words), (r.key, key)
        assert words.count("open") == len(s.state.open)


def test_energy_from_the_pack_is_drawn_upwards_and_in_its_own_colour(dossier: Dossier):
    boost = dossier.study.path("direct-boost")
    widest = widest_flow(boost.path, boost.states)
    by_key = {r.key: r for r in boost.states if r.possible}
    charging, battery = (
        power_flow(boost.path, by_key["charging"], widest),
        power_flow(boost.path, by_key["battery"], widest),
    )
    ribbons = re.compile('<path d="M[^"]*Z" style="fill:(#[0-9a-f]{6})')
    assert SOURCE in ribbons.findall(charging.svg)
    assert PACK not in ribbons.findall(charging.svg)
    assert PACK in ribbons.findall(battery.svg)
    assert SOURCE not in ribbons.findall(battery.svg)
    pack = next(link for link in layout_of(boost.path).trunk if link.key == "pack")
    r = by_key["battery"]
    assert flow_of(pack, r.solution, r.usual).p_upper < 0.0


def test_a_state_without_a_steady_point_says_so(dossier: Dossier, words: list[str]):
    w = dossier.study.winner
    assert w is not None
    r = w.states[0]
    bad = replace(r, solution=replace(r.solution, status=np.full_like(r.solution.status, 1)), note="the reason")
    shown = power_flow(w.path, bad, 50.0)
    assert "the reason" in shown.message
    assert any("the reason" in word for word in words)


# Ladders


def test_overlaps_on_a_ladder_are_those_that_become_findings(dossier: Dossier):
    for ladder in dossier.ladders:
        assert len(overlaps(ladder)) == len(ladder_findings(ladder))
        for up in (0, 1):
            squeezed = squeeze(ladder, up)
            assert len(overlaps(squeezed)) == len(ladder_findings(squeezed)) > 0
            assert "overlaps" in ladder_picture(squeezed).message


def squeeze(ladder: Ladder, at: int) -> Ladder:
    """Return a ladder whose rung `at` reaches past the next."""
    beyond = ladder.rungs[at + 1].typ
    shift = 0.02 * abs(beyond)
    rung = ladder.rungs[at]
    wide = replace(rung, high=beyond + shift) if ladder.climbs else replace(rung, low=beyond - shift)
    return replace(ladder, rungs=(*ladder.rungs[:at], wide, *ladder.rungs[at + 1 :]))


# Map


def test_the_map_shows_the_product_s_own_place(dossier: Dossier, words: list[str]):
    # The sample: 23 of 24 hours on the source, 14 W throughout: inside any map that is drawn around it.
    assert dossier.study.map is not None
    decision_map_picture(dossier.study.map, dossier.study.case)
    assert "this product" in words
    letters = [w for w in words if w in ("A", "B", "C", "–")]
    assert len(letters) >= dossier.study.map.winner.size
