"""The pages about set-points do what they say."""

import re
from pathlib import Path

import pytest

from chargewright.setpoints.load import load_controller, read_controller, shipped_controllers
from chargewright.setpoints.quantities import QUANTITIES

DOCS = Path(__file__).resolve().parents[2] / "docs"
GUIDE = (DOCS / "controller-file.md").read_text(encoding="utf-8")
PAGE = (DOCS / "setpoints.md").read_text(encoding="utf-8")


def blocks(page: str, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", page, re.M | re.S)


def test_the_examples_of_the_page_run_in_order():
    scope: dict[str, object] = {}
    found = blocks(PAGE, "python")
    assert len(found) >= 4
    for code in found:
        exec(compile(code, "docs/setpoints.md", "exec"), scope)


def test_the_example_of_the_guide_is_a_controller():
    (example,) = blocks(GUIDE, "yaml")
    controller = read_controller(example, "my-charger.yaml")
    voltage = controller.field("charge_voltage")
    assert voltage is not None
    assert voltage.mask == 0x1FFC


def test_the_message_in_the_guide_is_the_real_one():
    (example,) = blocks(GUIDE, "yaml")
    (message,) = blocks(GUIDE, "text")
    wrong = example.replace("step: 12 mV", "step: 12 mA")
    with pytest.raises(Exception, match="is a current") as caught:
        read_controller(wrong, "my-charger.yaml")
    assert str(caught.value).strip() == message.strip()


@pytest.mark.parametrize("key", QUANTITIES)
def test_the_guide_names_every_quantity(key: str):
    assert f"`{key}`" in GUIDE


@pytest.mark.parametrize("name", shipped_controllers())
def test_the_guide_names_every_shipped_description(name: str):
    assert f"`{name}`" in GUIDE
    assert load_controller(name).notes
