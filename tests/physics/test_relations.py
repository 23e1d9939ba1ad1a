"""What holds for every relation of the room: units, source, printed formula, compiled twin."""

import importlib
import inspect
import pkgutil
import re
from typing import get_type_hints

import numpy as np
import pytest
from printed_formulas import evaluated

from chargewright import physics
from chargewright.base.compiled import compiled, numba_module
from chargewright.base.relation import Relation

KERNEL_TOPICS = ("conduction", "switching", "waveform", "magnetics", "core", "capacitor")
"""Topics that the compiled kernels call."""

IN_WORDS = {
    "ohm": "Ω", "ohm*m": "Ω·m", "ohm/m": "Ω/m", "V*s": "V·s", "A2": "A²",
    "m2": "m²", "m3": "m³", "W/m3": "W/m³", "dK": "K",
}  # fmt: skip
"""SI unit of an annotation to its spelling in a docstring, where they differ."""

INPUTS = {  # ranges inside which these relations have a solution
    "turn_on_time": {"v_drive": (5.0, 8.0)},
    "constant_power_voltage": {"v_source": (10.0, 20.0), "r": (0.01, 0.2), "p": (1.0, 60.0)},
    "constant_power_current": {"v_source": (10.0, 20.0), "r": (0.01, 0.2), "p": (1.0, 60.0)},
    "self_heated_temperature": {"r_th": (10.0, 50.0), "r_25": (0.005, 0.015), "temp_co": (0.003, 0.005)},
    "runaway_current": {"r_th": (10.0, 50.0)},
    "held_voltage": {"v_start": (7.0, 10.0)},
    "hot_plug_peak_time": {"r": (0.01, 0.1)},
    "hot_plug_peak_current": {"r": (0.01, 0.1)},
    "bound_confidence": {"runs": (10.0, 90.0), "coverage": (0.9, 0.99)},
    "interval_confidence": {"runs": (10.0, 90.0), "coverage": (0.9, 0.99)},
    "failure_rate_bound": {"runs": (10.0, 90.0), "confidence": (0.5, 0.95)},
}


def relations_of_the_room() -> dict[str, Relation]:
    """Return topic.name to relation, each in the module that defines it."""
    found = {}
    for info in pkgutil.iter_modules(physics.__path__):
        module = importlib.import_module(f"{physics.__name__}.{info.name}")
        for name, thing in vars(module).items():
            if isinstance(thing, Relation) and thing.__module__ == module.__name__:
                found[f"{info.name}.{name}"] = thing
    return found


ALL = relations_of_the_room()
EACH = pytest.mark.parametrize("of", ALL.values(), ids=ALL.keys())


def drawn_inputs(of: Relation, rng: np.random.Generator, size: int) -> dict[str, np.ndarray]:
    """Return random inputs inside the stated ranges, signs included where the formula takes sizes."""
    inputs = {}
    for name, unit in of.parameters.items():
        low, high = (250.0, 400.0) if unit == "K" else (0.05, 0.95)
        low, high = INPUTS.get(of.name, {}).get(name, (low, high))
        values = rng.uniform(low, high, size)
        takes_size = f"|{name}|" in of.formula
        inputs[name] = values * rng.choice([-1.0, 1.0], size) if takes_size else values
    return inputs


def test_the_room_is_not_empty():
    assert len(ALL) > 80


@EACH
def test_each_argument_is_explained_with_the_unit_of_its_annotation(of: Relation):
    text = inspect.cleandoc(of.__doc__)
    for name, unit in of.parameters.items():
        assert unit, f"{name} has no unit in its annotation"
        explained = re.search(rf"^{name} *: [^\[]*\[([^\]]+)\]", text, re.M)
        assert explained, f"{name} is not explained, or without a unit"
        assert explained[1] == IN_WORDS.get(unit, unit), name


@EACH
def test_the_result_is_explained_with_the_unit_of_its_annotation(of: Relation):
    explained = re.search(r"^returns [^\[]*\[([^\]]+)\]", inspect.cleandoc(of.__doc__), re.M)
    assert explained, "there is no line `returns … [unit]`"
    assert explained[1] == IN_WORDS.get(of.unit, of.unit)


@EACH
def test_a_source_and_a_range_of_validity_are_stated(of: Relation):
    text = inspect.cleandoc(of.__doc__)
    assert len(of.source) > 5
    assert re.search(r"^Holds ", text, re.M)
    assert text.index("\nHolds ") < text.index("\nSource: ")


@EACH
def test_a_stated_range_is_told_as_an_error(of: Relation):
    hints = get_type_hints(of.raw, include_extras=True)
    limited = [name for name in of.parameters if len(hints[name].__metadata__) > 1]
    assert bool(limited) == ("Raises OutOfRange" in of.__doc__), limited


@EACH
def test_the_printed_formula_gives_what_the_code_gives(of: Relation):
    # Second road: the docstring's line, evaluated. rel 1e-12 leaves room for another order of the same operations.
    inputs = drawn_inputs(of, np.random.default_rng(11), 200)
    result = of(**inputs)
    assert np.all(np.isfinite(result)), "the inputs drawn have no solution, so nothing would be compared"
    np.testing.assert_allclose(result, evaluated(of.formula, inputs), rtol=1e-12, atol=0.0)


@EACH
def test_every_argument_moves_the_result(of: Relation):
    inputs = drawn_inputs(of, np.random.default_rng(12), 50)
    for name in of.parameters:
        assert np.any(of(**inputs) != of(**inputs | {name: inputs[name] * 1.01})), name


@EACH
def test_single_numbers_give_what_arrays_give(of: Relation):
    inputs = drawn_inputs(of, np.random.default_rng(13), 5)
    results = of(**inputs)
    for k in range(5):
        single = of(**{name: float(values[k]) for name, values in inputs.items()})
        assert isinstance(single, float)
        assert single == pytest.approx(float(results[k]), rel=1e-14)


@pytest.mark.parametrize("name", [name for name in ALL if name.partition(".")[0] in KERNEL_TOPICS])
@pytest.mark.skipif(numba_module() is None, reason="there is no numba for this machine, where numpy serves")
def test_the_compiled_form_gives_what_python_gives(name: str):
    # Same operations, but the compiler may use another power function: rel 1e-13.
    of = ALL[name]
    twin = compiled(of)
    inputs = drawn_inputs(of, np.random.default_rng(14), 20)
    for k in range(20):
        single = {name: float(values[k]) for name, values in inputs.items()}
        assert float(twin(*single.values())) == pytest.approx(float(of(**single)), rel=1e-13)
