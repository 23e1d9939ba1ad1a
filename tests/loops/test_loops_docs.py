"""The example on the page about loops runs."""

import re
from pathlib import Path

PAGE = Path(__file__).parents[2] / "docs" / "loops.md"


def test_the_example_on_the_page_runs():
    (example,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.S)
    exec(example, {})
