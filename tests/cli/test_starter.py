"""A starter file: it is in order as it stands, and nothing of the user's is written over."""

import json

import jsonschema
import pytest
from ruamel.yaml import YAML


def test_the_starter_file_checks_and_studies(run, tmp_path):
    file = tmp_path / "mine.yaml"
    written = run("starter", file, "--name", "Field radio")
    assert written.code == 0
    assert "chargewright study" in written.out
    assert "Field radio" in file.read_text("utf-8")
    checked = run("check", file)
    assert (checked.code, checked.err) == (0, "")
    assert "Field radio" in checked.out
    studied = run("study", file, "--no-pdf", "--no-png")
    assert studied.code == 0, studied.err
    assert "Field radio" in studied.out
    assert (tmp_path / "mine-report" / "report.html").is_file()


def test_a_file_that_is_there_is_kept(run, tmp_path):
    file = tmp_path / "mine.yaml"
    file.write_text("precious\n")
    said = run("starter", file)
    assert said.code == 2
    assert "--force" in said.err
    assert file.read_text() == "precious\n"
    assert run("starter", file, "--force").code == 0
    assert "precious" not in file.read_text("utf-8")


@pytest.mark.parametrize("name", ["a: b", "quote \" and ' mark", "Ω-meter", "- dash", "#hash", "yes", "1e3"])
def test_any_name_makes_a_file_that_is_in_order(name, run, tmp_path):
    file = tmp_path / "mine.yaml"
    run("starter", file, "--name", name)
    assert run("check", file).code == 0
    assert YAML(typ="safe").load(file.read_text("utf-8"))["name"] == name


@pytest.mark.parametrize("name", ["", "  spaced  ", "two\nlines", "x" * 300, "nul\0"])
def test_a_name_that_no_file_may_have_is_refused_before_anything_is_written(name, run, tmp_path):
    said = run("starter", tmp_path / "mine.yaml", "--name", name)
    assert said.code == 2
    assert "name" in said.err
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_does_not_exist_is_told(run, tmp_path):
    said = run("starter", tmp_path / "nowhere" / "mine.yaml")
    assert said.code == 2
    assert "nowhere" in said.err
    assert "Traceback" not in said.err


@pytest.mark.parametrize("what", ["design", "study"])
def test_the_schemas_are_schemas(what, run):
    said = run("schema", what)
    assert said.code == 0
    jsonschema.Draft202012Validator.check_schema(json.loads(said.out))


def test_an_example_keeps_the_schema_of_the_design_file(run, examples):
    schema = json.loads(run("schema").out)
    for file in sorted(examples.glob("*.yaml")):
        jsonschema.validate(YAML(typ="safe").load(file.read_text("utf-8")), schema)
