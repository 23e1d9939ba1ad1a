"""The page of waveforms: one file that is its own, with the numbers in it, and words that cannot break out of it."""

import json
import re
from base64 import b64encode
from hashlib import sha256

import numpy as np
import pytest

from chargewright.base.errors import OutOfRange
from chargewright.report.waveform_page import Curve, View, waveform_page
from chargewright.studies.transients.record import Limit

T = np.linspace(-1e-4, 1e-3, 50)


def _view(title: str = "The plug is pulled", n: int = 50) -> View:
    bus = 20.0 + np.sin(T[:n] * 1e4)
    bus[3] = np.nan
    return View(
        key="unplug", title=title, note="Pack at 15 %.", t=T, events=((0.0, "plug pulled"),),
        curves=(Curve(key="v_bus", title="bus voltage", unit="V", mean=bus, low=bus - 0.1, high=bus + 0.1),),
        limits=(Limit(of="v_bus", words="highest bus", value=24.0, side="above"),),
    )  # fmt: skip


def _page(*views: View) -> str:
    return waveform_page("A product", "Path direct, in time", "Chargewright", views)


def _data(page: str) -> list[dict[str, object]]:
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', page, re.S)
    assert found
    read: list[dict[str, object]] = json.loads(found[1])
    return read


def test_the_numbers_stand_in_the_page():
    (view,) = _data(_page(_view()))
    (curve,) = view["curves"]  # type: ignore[misc]
    assert view["t"] == pytest.approx(T.tolist(), rel=1e-6)
    assert curve["mean"][3] is None, "what is missing is a gap, and never a zero"
    assert curve["mean"][10] == pytest.approx(20.0 + np.sin(T[10] * 1e4), rel=1e-6)
    assert view["limits"] == [{"of": "v_bus", "words": "highest bus", "value": 24.0, "side": "above"}]


def test_its_policy_names_the_one_script_and_the_one_style_by_their_hashes():
    page = _page(_view())
    for tag, source in (("script", "script-src"), ("style", "style-src")):
        inline = re.findall(rf"<{tag}>(.*?)</{tag}>", page, re.S)
        assert len(inline) == 1
        name = f"'sha256-{b64encode(sha256(inline[0].encode()).digest()).decode()}'"
        assert f"{source} {name}" in page
    assert "default-src 'none'" in page
    assert not re.search(r"(src|href)=", page), "nothing is fetched"


def test_words_of_a_design_cannot_leave_their_place():
    page = _page(_view("</script><script>alert(1)</script>"))
    assert "<script>alert" not in page
    assert _data(page)[0]["title"] == "</script><script>alert(1)</script>"
    assert "<b>" not in waveform_page("<b>", "", "", [_view()])


def test_curves_of_another_length_than_the_time_are_refused():
    with pytest.raises(OutOfRange, match="one shape"):
        _page(_view(n=40))
    with pytest.raises(OutOfRange, match="at least one"):
        _page()
