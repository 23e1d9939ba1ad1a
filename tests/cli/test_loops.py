"""`loops`: what it prints, its exit code, and what it refuses."""

import json


def test_it_names_each_loop_with_margins_and_worst_corner(run, twelve):
    said = run("loops", twelve)
    words = " ".join(said.out.split())
    assert said.code in (0, 1)
    for title in ("charge current", "charge voltage", "source current", "source voltage held up"):
        assert f"{title}: " in words
    assert words.count("worst corner: adapter at its") == 4
    assert "least phase margin" in words
    assert "qualified people" in words  # the caution is part of the output
    assert (said.code == 0) == ("NOT" not in said.out)


def test_json_says_the_same(run, twelve):
    said = run("loops", twelve, "--json")
    record = json.loads(said.out)
    assert record["path"] == "direct"
    assert [one["key"] for one in record["loops"]] == [
        "charge-current", "charge-voltage", "source-current", "source-voltage",
    ]  # fmt: skip
    assert (said.code == 0) == record["passes"]
    assert record["loops"][0]["parts"]["r_z"] > 0.0


def test_a_path_that_the_design_does_not_have_is_refused_with_the_nearest(run, twelve):
    said = run("loops", twelve, "--path", "dirct")
    assert said.code == 2
    assert "did you mean direct" in said.err


def test_a_folder_gets_record_envelope_and_figures(run, twelve, tmp_path):
    said = run("loops", twelve, "--out", str(tmp_path / "loops"), "--no-png")
    made = {file.name for file in (tmp_path / "loops").iterdir()}
    record = json.loads((tmp_path / "loops" / "loops.json").read_text())
    keys = {one["key"] for one in record["loops"]}
    assert {f"{kind}-{key}.svg" for key in keys for kind in ("loop", "nyquist", "margins")} < made
    head, *rows = (tmp_path / "loops" / "loop_envelope.csv").read_text().splitlines()
    assert "phase_rad" in head
    assert len(rows) == sum(one["points"] for one in record["loops"])
    assert "loop_envelope.csv" in said.out
