"""The page about physics says what the code says."""

import importlib.util
import re
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "docs" / "physics.md"


def test_the_page_is_what_the_docstrings_make():
    spec = importlib.util.spec_from_file_location("make_physics_page", ROOT / "tools" / "make_physics_page.py")
    tool = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(tool)
    same = PAGE.read_text(encoding="utf-8") == tool.page()
    assert same, "docs/physics.md is not in step with the docstrings: run `python tools/make_physics_page.py`"


def test_the_example_on_the_page_runs():
    (example,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    exec(example, {})
