"""The pages about power paths and watts tell what the code does."""

import re
from pathlib import Path

import pytest

import chargewright.physics
from chargewright.network import solve as solver
from chargewright.network.graph import STATES
from chargewright.network.stage import StageLosses
from chargewright.paths import shelf

DOCS = Path(__file__).resolve().parents[2] / "docs"
PHYSICS = Path(chargewright.physics.__path__[0])


def page(name: str) -> str:
    """Return the text of a page."""
    return (DOCS / name).read_text(encoding="utf-8")


@pytest.mark.parametrize("name", ["power-paths.md", "watts.md"])
def test_the_examples_run_and_print_what_the_page_says(name: str, capsys: pytest.CaptureFixture[str]):
    blocks = re.findall(r"^```python\n(.*?)^```\n\n```text\n(.*?)^```$", page(name), flags=re.MULTILINE | re.DOTALL)
    assert len(blocks) == page(name).count("```python")
    for code, printed in blocks:
        exec(compile(code, f"docs/{name}", "exec"), {})
        assert capsys.readouterr().out == printed


def rows(text: str, head: str) -> list[list[str]]:
    """Return the cells of the table that starts with a head."""
    table = text.partition(head)[2].partition("\n\n")[0]
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in table.splitlines()[2:]]


def test_the_page_lists_the_paths():
    assert {row[0].strip("`") for row in rows(page("power-paths.md"), "| path | what it is")} == set(shelf.keys())


def test_the_page_lists_what_each_path_holds_in_each_state():
    text = page("power-paths.md")
    keys = shelf.keys()
    head = "| state | " + " | ".join(f"`{key}`" for key in keys) + " |"
    found = {row[0].strip("`"): row[1:] for row in rows(text, head)}
    assert list(found) == list(STATES)
    for name, cells in found.items():
        for key, cell in zip(keys, cells, strict=True):
            state = next((s for s in shelf.get(key).states if s.key == name), None)
            held = "" if state is None else "·" if state.held == "nothing" else state.held.replace("-", " ")
            assert cell == held, f"{key}: {name}"


def test_the_page_lists_every_wire_and_status():
    text = page("power-paths.md")
    wires = {row[0].strip("`") for row in rows(text, "| wire | between")}
    assert wires == {w.key for _, path in shelf.all() for w in path.wires}
    statuses = [row[0].strip("`") for row in rows(text, "| `status` | meaning")]
    assert [getattr(solver, name) for name in statuses] == [0, 1, 2, 3]


def test_the_page_lists_every_loss_with_relations_that_exist():
    table = rows(page("watts.md"), "| term | what it is")
    terms = [term for row in table for term in re.findall(r"`(\w+)`", row[0])]
    assert sorted(terms) == sorted(StageLosses._fields)
    code = "\n".join(path.read_text(encoding="utf-8") for path in PHYSICS.glob("*.py"))
    for row in table:
        for name in re.findall(r"`(\w+)`", row[2]):
            assert f"@relation\ndef {name}(" in code, name
