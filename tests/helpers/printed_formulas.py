"""Evaluate formulas as they are printed, as a second road to the code that they describe."""

import re
from typing import Any

import numpy as np

SIGNS = (("·", "*"), ("−", "-"), ("²", "**2"), ("³", "**3"), ("^", "**"), ("√", "sqrt"), ("π", "pi"))
"""What is printed, and what Python calls it."""
KNOWN: dict[str, Any] = {"pi": np.pi, "max": np.maximum, "min": np.minimum, "ln": np.log, "abs": np.abs}
KNOWN |= {name: getattr(np, name) for name in ("sqrt", "exp", "log10", "arccos")}


def evaluated(formula: str, inputs: dict[str, Any]) -> Any:
    """Return the value of a printed formula; of several, each may use the names before it and the last one counts."""
    known = KNOWN | inputs
    value = None
    for line in formula.split("; "):
        name, _, text = line.partition(" = ")
        text = re.sub(r"\|([^|]+)\|", r"abs(\1)", text)
        for printed, code in SIGNS:
            text = text.replace(printed, code)
        value = known[name] = eval(text, {"__builtins__": {}}, known)
    return value
