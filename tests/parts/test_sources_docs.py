"""The page about sources tells what the code does."""

import re
from pathlib import Path

from chargewright.parts.contracts import supplies
from chargewright.parts.usb_pd.object_text import object_text, read_object
from chargewright.spec.source import UsbPdSourceSpec

PAGE = (Path(__file__).resolve().parents[2] / "docs" / "sources.md").read_text(encoding="utf-8")


def blocks(language: str) -> list[str]:
    found = re.findall(rf"^```{language}\n(.*?)^```$", PAGE, flags=re.MULTILINE | re.DOTALL)
    assert found
    return found


def test_the_page_s_python_runs_and_prints_what_the_page_shows(capsys):
    known: dict[str, object] = {}
    for code in blocks("python"):
        exec(compile(code, "docs/sources.md", "exec"), known)
    printed = capsys.readouterr().out
    for shown in blocks("text"):
        assert shown in printed


def test_the_page_s_list_of_objects_is_read():
    (listed,) = blocks("yaml")
    objects = tuple(re.findall(r'"([^"]+)"', listed))
    assert len(supplies(UsbPdSourceSpec(name="any", power=65.0, objects=objects))) == len(objects) + 2


def test_the_page_s_forms_of_objects_are_read_and_written_alike():
    forms = re.findall(r"^\| `([^`]+)` \| (?:fixed|programmable|adjustable)", PAGE, flags=re.MULTILINE)
    assert len(forms) == 4
    for form in forms:
        assert object_text(read_object(form)) == form
