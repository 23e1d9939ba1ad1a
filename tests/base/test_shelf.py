"""A shelf: one file of a package is one thing on it."""

import sys
from pathlib import Path

import pytest

from chargewright.base.errors import ChargewrightError
from chargewright.base.near import nearest
from chargewright.base.shelf import Shelf


@pytest.fixture
def shelf(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Shelf[str]:
    package = tmp_path / "shelf_of_fruit"
    package.mkdir()
    (package / "__init__.py").write_text("")
    (package / "red_apple.py").write_text("FRUIT = 'an apple'\n")
    (package / "pear.py").write_text("FRUIT = 'a pear'\n")
    (package / "broken.py").write_text("raise RuntimeError\n")
    (package / "_peeler.py").write_text("raise RuntimeError\n")
    (package / "basket.py").write_text("raise RuntimeError\n")
    (package / "inner").mkdir()
    (package / "inner" / "__init__.py").write_text("")
    monkeypatch.syspath_prepend(str(tmp_path))
    for name in [n for n in sys.modules if n.startswith("shelf_of_fruit")]:
        monkeypatch.delitem(sys.modules, name)
    return Shelf("shelf_of_fruit", [str(package)], "FRUIT", besides=("basket",))


def test_keys_are_file_names_and_nothing_is_imported_for_them(shelf: Shelf[str]):
    # Private files, folders and files that are named as no part of the shelf are none of its things.
    assert shelf.keys() == ("broken", "pear", "red-apple")
    assert not [name for name in sys.modules if name.startswith("shelf_of_fruit.")]


def test_getting_one_imports_only_that_one(shelf: Shelf[str]):
    assert shelf.get("red-apple") == "an apple"
    assert "shelf_of_fruit.pear" not in sys.modules


def test_an_unknown_key_answers_with_the_nearest(shelf: Shelf[str]):
    with pytest.raises(ChargewrightError, match=r"shelf_of_fruit: 'red-aple' is not known; did you mean 'red-apple'\?"):
        shelf.get("red-aple")


def test_an_unknown_key_with_nothing_near_lists_what_there_is(shelf: Shelf[str]):
    with pytest.raises(ChargewrightError, match="known: broken, pear, red-apple"):
        shelf.get("zzz")


def test_private_files_cannot_be_had_by_asking(shelf: Shelf[str]):
    for key in ("-peeler", "_peeler", "basket", "inner", "", ".", "..pear"):
        with pytest.raises(ChargewrightError):
            shelf.get(key)


def test_all_yields_each_key_with_its_thing(tmp_path: Path, shelf: Shelf[str]):
    (tmp_path / "shelf_of_fruit" / "broken.py").unlink()
    assert dict(shelf.all()) == {"pear": "a pear", "red-apple": "an apple"}


@pytest.mark.parametrize(
    ("word", "found"),
    [
        ("v_cell_mx", "v_cell_max"),
        ("V-CELL-MAX", "v_cell_max"),
        ("seris", "series"),
        ("zzz", None),
        ("", None),
        ("x" * 10_000, None),
    ],
)
def test_the_nearest_word_is_found_whatever_case_and_dashes(word: str, found: str | None):
    assert nearest(word, ["v_cell_max", "v_cell_min", "series"]) == found
    assert nearest(word, []) is None
