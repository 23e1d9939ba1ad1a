"""Files that a design names are found beside it, and what is wrong with a name is said."""

from pathlib import Path

import pytest

from chargewright.base.errors import PartsError
from chargewright.spec.references import is_file_name, resolve_path


@pytest.fixture
def design(tmp_path: Path) -> Path:
    (tmp_path / "parts").mkdir()
    (tmp_path / "parts" / "switches.csv").write_text("x")
    return tmp_path / "radio.design"


def test_a_name_is_taken_from_the_folder_of_the_design_file(design: Path, monkeypatch: pytest.MonkeyPatch):
    found = (design.parent / "parts" / "switches.csv").resolve()
    assert resolve_path(design, "parts/switches.csv") == found
    assert resolve_path(design, "./parts/../parts/switches.csv") == found
    monkeypatch.chdir(design.parent / "parts")  # wherever one stands
    assert resolve_path(Path("../radio.design"), "parts/switches.csv") == found


def test_an_absolute_name_stands_for_itself(design: Path):
    path = design.parent / "parts" / "switches.csv"
    assert resolve_path(Path("elsewhere") / "a.design", str(path)) == path.resolve()


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("parts/switchs.csv", "Did you mean 'switches.csv'?"),
        ("missing/switches.csv", "There is no file 'missing/switches.csv'"),
        ("parts", "is a folder"),
        ("", "is a folder"),
        ("a\0b.csv", "cannot be the name of a file"),
        ("~/switches.csv", "There is no file '~/switches.csv'"),
        ("x" * 5000, "cannot be the name of a file"),
    ],
)
def test_a_name_without_a_file_is_told(design: Path, name: str, words: str):
    with pytest.raises(PartsError) as caught:
        resolve_path(design, name)
    assert words in str(caught.value)


def test_a_circle_of_links_is_told(design: Path):
    (design.parent / "a.csv").symlink_to(design.parent / "b.csv")
    (design.parent / "b.csv").symlink_to(design.parent / "a.csv")
    with pytest.raises(PartsError):
        resolve_path(design, "a.csv")


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("nmc-energy", False),
        ("generic", False),
        ("smart-battery-charger", False),
        ("mine.csv", True),
        ("cells/mine", True),
        ("cells\\mine", True),
        ("mine.json", True),
    ],
)
def test_what_names_a_file_and_what_something_shipped(text: str, named: bool):
    assert is_file_name(text) is named
