"""Commands refuse a folder that they cannot write to before they begin, not after."""

from pathlib import Path

import pytest

from chargewright.cli.main import main

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "tablet.yaml"


@pytest.mark.parametrize("command", ["study", "usage", "charge"])
def test_a_file_in_the_place_of_the_folder_is_told_before_the_work(command, tmp_path, capsys, monkeypatch):
    def begun(*_: object, **__: object) -> None:
        raise AssertionError("the work began")

    monkeypatch.setattr("chargewright.spec.load.load_design", begun)
    monkeypatch.setattr("chargewright.dossier.door.study", begun)
    (tmp_path / "out").write_text("keep me")
    assert main([command, str(EXAMPLE), "--out", str(tmp_path / "out")]) == 2
    assert "is a file" in capsys.readouterr().err
    assert (tmp_path / "out").read_text() == "keep me"
