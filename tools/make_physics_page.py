"""Write `docs/physics.md` from the docstrings of the physics room.

python tools/make_physics_page.py            write the page
python tools/make_physics_page.py --check    say whether the page differs from what would be written
"""

import importlib
import inspect
import pkgutil
import re
import sys
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

from chargewright import physics
from chargewright.base.relation import Relation

PAGE = Path(__file__).resolve().parent.parent / "docs" / "physics.md"

HEAD = """\
# Physics

The formulas of Chargewright's physics room, by topic, each with the range in which it holds and its source. This
page is made by `tools/make_physics_page.py` from the docstrings in `src/chargewright/physics`; a test evaluates
each formula as it stands here and compares it with the code.

All quantities are in SI units. Arguments are single numbers or arrays; arrays broadcast. `|x|` is the size of x, `max`
and `min` work element by element, `ln` is the natural logarithm. Where a formula has several lines, the last one is the
result. "From memory" at a source means that it was not opened again.

A relation can say where its number comes from:

```python
from chargewright.base.relation import derive
from chargewright.physics.conduction import switch_conduction_loss

loss = derive("p_q1_cond", switch_conduction_loss, i_on=3.0, di_pp=1.2, duty=0.42, r_on=0.010)
assert loss.unit == "W"
assert round(loss.value, 6) == 0.038304
assert loss.step.formula == "p = r_on·duty·(i_on² + di_pp²/12)"
assert loss.step.inputs["i_on"] == (3.0, "A")
```
"""


def topics() -> Iterator[ModuleType]:
    """Give the modules of the room in the order of their names."""
    for info in sorted(pkgutil.iter_modules(physics.__path__), key=lambda info: info.name):
        if not info.name.startswith("_"):
            yield importlib.import_module(f"{physics.__name__}.{info.name}")


def public_functions(module: ModuleType) -> Iterator[tuple[str, Relation[..., Any] | FunctionType]]:
    """Give the relations and plain functions that a module defines, in the order of the file."""
    for name, thing in vars(module).items():
        ours = isinstance(thing, Relation | FunctionType) and thing.__module__ == module.__name__
        if ours and not name.startswith("_"):
            yield name, thing


def page() -> str:
    """Return the text of the page."""
    parts = [HEAD]
    for module in topics():
        parts.append(f"## {module.__name__.rpartition('.')[2]}\n\n{_body(module.__doc__ or '')}\n")
        for name, function in public_functions(module):
            parts.append(f"### {name}\n\n{_body(function.__doc__ or '')}\n")
    return "\n".join(parts)


def _body(docstring: str) -> str:
    blocks = re.split(r"\n\s*\n", inspect.cleandoc(docstring))
    return "\n\n".join(_block(block) for block in blocks)


def _block(block: str) -> str:
    if block.startswith("    "):
        return "```text\n" + inspect.cleandoc(block) + "\n```"
    if block.startswith("Source: "):
        return f"*Source:* {block.removeprefix('Source: ')}"
    if re.match(r"[a-z]\w* *: ", block):
        explained = re.sub(r"\n +", " ", block)  # a line that goes on
        lines = re.sub(r"^([a-z]\w*) *: ", r"- `\1`: ", explained, flags=re.M)
        return re.sub(r"^returns ", "\nIt returns ", re.sub(r"^Raises ", "\nRaises ", lines, flags=re.M), flags=re.M)
    return block


def main(arguments: list[str]) -> int:
    """Write or check the page; return the exit code."""
    text = page()
    if "--check" in arguments:
        same = PAGE.is_file() and PAGE.read_text(encoding="utf-8") == text
        return 0 if same else 1
    PAGE.parent.mkdir(exist_ok=True)
    PAGE.write_text(text, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
