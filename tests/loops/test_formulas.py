"""What holds for every relation of the room: units, source, printed formula."""

import importlib
import inspect
import pkgutil
import re

import numpy as np
import pytest
from printed_formulas import KNOWN, evaluated

from chargewright import loops
from chargewright.base.relation import Relation

FUNCTIONS = {"sin": np.sin, "cos": np.cos, "tan": np.tan}
IN_WORDS = {"ohm": "Ω", "1/ohm": "1/Ω"}


def relations_of_the_room() -> dict[str, Relation]:
    found = {}
    for info in pkgutil.iter_modules(loops.__path__):
        module = importlib.import_module(f"{loops.__name__}.{info.name}")
        for name, thing in vars(module).items():
            if isinstance(thing, Relation) and thing.__module__ == module.__name__:
                found[f"{info.name}.{name}"] = thing
    return found


EACH = pytest.mark.parametrize("of", relations_of_the_room().values(), ids=relations_of_the_room().keys())


def test_the_room_has_relations():
    assert len(relations_of_the_room()) > 15


@EACH
def test_the_printed_formula_gives_what_the_code_gives(of: Relation):
    # Second road: the docstring's line, evaluated. rel 1e-12 leaves room for another order of the same operations.
    rng = np.random.default_rng(5)
    inputs = {name: rng.uniform(0.05, 0.95, 50) for name in of.parameters}
    if "s" in inputs:
        inputs["s"] = 1j * inputs["s"]
    result = of(**inputs)
    assert np.all(np.isfinite(result))
    np.testing.assert_allclose(result, evaluated(of.formula, FUNCTIONS | KNOWN | inputs), rtol=1e-12, atol=0.0)


@EACH
def test_each_argument_and_the_result_are_explained_with_their_units(of: Relation):
    text = inspect.cleandoc(of.__doc__)
    for name, unit in of.parameters.items():
        explained = re.search(rf"^{name} *: [^\[]*\[([^\]]+)\]", text, re.M)
        assert explained, name
        assert explained[1] == IN_WORDS.get(unit, unit), name
    told = re.search(r"^returns [^\[]*\[([^\]]+)\]", text, re.M)
    assert told
    assert told[1] == IN_WORDS.get(of.unit, of.unit)


@EACH
def test_a_source_and_a_range_of_validity_are_stated(of: Relation):
    text = inspect.cleandoc(of.__doc__)
    assert len(of.source) > 5
    assert text.index("\nHolds ") < text.index("\nSource: ")
