"""`sequence`: what it prints and writes, its exit code, and what it refuses."""

import json


def test_a_script_is_told_event_by_event(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--script", "plug, boot, unplug@5 s", "--out", "told")
    assert said.code == 0
    assert "source unplugged" in said.out
    assert "battery switch: closed" in said.out
    assert "Nothing bad happens." in said.out


def test_its_folder_holds_waveform_figure_and_record(run, twelve, tmp_path):
    run("sequence", twelve, "--path", "direct", "--script", "plug, boot", "--out", "told")
    folder = tmp_path / "told"
    assert {p.name for p in folder.iterdir()} >= {"waveform.csv", "sequence.svg", "sequence.json"}
    record = json.loads((folder / "sequence.json").read_text("utf-8"))
    assert [e["word"] for e in record["events"]] == ["plug", "boot"]
    assert record["values"]["v_off"] > 0.0
    head = (folder / "waveform.csv").read_text("utf-8").splitlines()[0]
    assert head.split(",")[:3] == ["event", "t_s", "v_in_V"]


def test_every_order_is_searched_and_the_assumptions_are_said(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--early", "0")
    assert said.code in (0, 1)
    assert "orders of up to 6 events" in said.out
    assert "Taken for granted:" in said.out
    assert "qualified people" in said.out


def test_json_says_the_same(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--early", "0", "--json")
    record = json.loads(said.out)
    (one,) = record["sources"]
    assert (said.code == 0) == (one["outcomes"] == [])
    assert one["whole"]
    assert one["unaccounted"] < 1e-6
    assert {t["event"] for t in one["transitions"]} >= {"plug", "boot", "unplug", "remove"}


def test_an_unknown_event_is_refused_with_the_nearest(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--script", "plug, bot")
    assert said.code == 2
    assert "did you mean 'boot'" in said.err


def test_an_event_that_cannot_happen_is_refused_with_those_that_can(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--script", "unplug")
    assert said.code == 2
    assert "cannot happen at the beginning; what can: plug" in said.err


def test_a_time_that_is_none_is_refused(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--script", "plug, boot@soon")
    assert said.code == 2


def test_an_unknown_source_is_refused_with_the_nearest(run, twelve):
    said = run("sequence", twelve, "--path", "direct", "--source", "adaptor")
    assert said.code == 2
    assert "adapter" in said.err
