"""The plane and the map of a loop, by what they show."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from chargewright.dossier.record import Dossier
from chargewright.report.data.loops import envelope_table
from chargewright.report.figures.margin_map import margin_map_picture
from chargewright.report.figures.nyquist import nyquist_picture
from chargewright.studies.stability import LoopReport, Stability


@pytest.fixture
def found(dossier: Dossier) -> Stability:
    assert dossier.stability is not None
    return dossier.stability


@pytest.fixture
def report(found: Stability) -> LoopReport:
    return next(r for r in found.loops if r.key == "charge-current")


def circles(svg: str) -> list[tuple[float, float, float, str]]:
    marks = re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)" r="([\d.]+)" style="([^"]+)"', svg)
    return [(float(x), float(y), float(r), style) for x, y, r, style in marks]


def test_the_circle_round_minus_one_is_the_distance_of_the_worst_corner(report: LoopReport):
    svg = nyquist_picture(report).svg
    ((x, y, radius, _),) = [c for c in circles(svg) if "fill:none" in c[3]]
    lines = [tuple(float(v) for v in m) for m in re.findall(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2', svg)]
    assert lines
    # The dots mark gain one: they lie on the unit circle round the origin, one unit right of −1; px are rounded to 0.1.
    unit = radius / report.margins.modulus[report.worst]
    dots = [c for c in circles(svg) if "fill:none" not in c[3]]
    assert dots
    for dot_x, dot_y, _, _ in dots:
        # 2 %: a dot stands on one of 600 samples a decade.
        assert math.hypot(dot_x - x - unit, dot_y - y) == pytest.approx(unit, rel=0.02)


def test_the_distance_is_that_of_a_dense_curve(report: LoopReport):
    # Second road: least |1 + T| of the Bode curve itself; 50 points a decade leave 3 %.
    bode = report.at_worst
    t = bode.size * np.exp(1j * bode.phase)
    assert report.margins.modulus[report.worst] == pytest.approx(float(np.min(np.abs(1.0 + t))), rel=0.03)


def test_what_the_distance_assures_is_kept_by_the_margins(report: LoopReport):
    # Geometry: with |1 + T| ≥ d everywhere, gain margin ≥ 1/(1 − d) and phase margin ≥ 2·arcsin(d/2).
    m = report.margins
    d = np.minimum(m.modulus, 1.0)
    # 1 %: the distance is found along chords.
    assert np.all(1.0 - 1.0 / m.gain >= 0.99 * d)
    assert np.all(m.phase >= 0.99 * 2.0 * np.arcsin(0.5 * d))


def test_the_map_counts_the_cells_that_keep_the_rule(report: LoopReport):
    cells = {(a, b) for a, b in zip(report.where.feed[:-1], report.where.level[:-1], strict=True)}
    assert margin_map_picture(report).message.startswith(f"{len(cells)} of {len(cells)} cells")
    stable = report.margins.stable.copy()
    stable[0] = False
    worse = margin_map_picture(replace(report, margins=replace(report.margins, stable=stable)))
    assert worse.message.startswith(f"{len(cells) - 1} of {len(cells)} cells")


def test_the_envelope_table_has_every_point_of_every_loop(found: Stability):
    table = envelope_table(found)
    assert len(table.rows) == sum(len(r.corners) for r in found.loops)
    keys = [c.key for c in table.columns]
    rows = [dict(zip(keys, row, strict=True)) for row in table.rows]
    for r in found.loops:
        own = [row for row in rows if row["loop"] == r.key]
        assert sum(row["usual"] for row in own) == 1
        assert min(row["phase"] for row in own) == pytest.approx(r.phase_margin)
