"""Choices copied, renamed, removed, edited one or all: the comments stay, one step of undo takes it back."""

import tomllib
from pathlib import Path

import pytest

from auralize.errors import AuralizeError, RequestError, RigError
from auralize.rig.editing import RigDraft
from auralize.rig.reading import load_rig

pytest.importorskip("tomlkit", reason="editing keeps comments with tomlkit (extra: bench)")
FOLDER = Path(__file__).parents[2] / "audio_demo"
DEMOS = sorted(FOLDER.glob("*.toml"))
LENGTH = ("runs", "pond", "length")


@pytest.fixture(params=DEMOS, ids=lambda path: path.stem)
def draft(request, tmp_path):
    """Of each rig of the demonstration."""
    path = tmp_path / request.param.name
    path.write_bytes(request.param.read_bytes())
    return RigDraft(path)


@pytest.fixture
def pond(tmp_path):
    path = tmp_path / "mill.toml"
    path.write_bytes((FOLDER / "saltmarsh.toml").read_bytes())
    return RigDraft(path)


def comments(text):
    return [line[line.index("#") :] for line in text.splitlines() if "#" in line]


def without(contents, *names):
    return {n: c.content for n, c in contents.items() if n not in names}


def test_each_can_be_copied_renamed_and_removed(draft):
    before = draft.text
    for name in list(draft.rig.choices):
        draft.copy(name, "another one")
        first, second = draft.rig.choices[name], draft.rig.choices["another one"]
        assert second.content == first.content
        assert second.label == "another one"
        assert comments(draft.text) == comments(before)
        assert draft.undo()
        old = dict(draft.rig.choices)
        draft.rename(name, "at last")
        assert list(draft.rig.choices) == ["at last" if n == name else n for n in old]
        assert without(draft.rig.choices, "at last") == without(old, name)
        assert draft.rig.choices["at last"].content == old[name].content
        assert comments(draft.text) == comments(before)
        assert draft.undo()
        draft.remove(name)
        assert without(draft.rig.choices) == without(old, name)
        lost = set(comments(before)) - set(comments(draft.text))
        assert all(comment not in before.split("[choices")[0] for comment in lost)
        assert draft.undo()
        assert draft.text == before


def test_the_last_one_stays(pond):
    pond.remove("reel")
    pond.remove("beams")
    with pytest.raises(RequestError, match="the last choice stays"):
        pond.remove("bought")
    for _ in range(2):
        pond.undo()
    assert list(pond.rig.choices) == ["reel", "bought", "beams"]


@pytest.mark.parametrize("name", ["bought", "", "a/b", "x" * 101, "a\nb"])
def test_a_name_that_cannot_be_is_refused(pond, name):
    text = pond.text
    for change in (pond.copy, pond.rename):
        with pytest.raises(AuralizeError):
            change("reel", name)
    assert pond.text == text


def test_names_that_need_quotes(pond):
    for name in ('the "new" one', "zu Hause", "42", "é"):
        pond.copy("reel", name)
        pond.rename(name, name + "'")
        pond.change(name + "'", LENGTH, "70 m")
        assert pond.rig.choices[name + "'"].network.runs["pond"].length == 70.0
        pond.remove(name + "'")
        assert list(pond.rig.choices) == ["reel", "bought", "beams"]


def test_a_copy_can_be_edited_at_once(pond):
    pond.copy("reel", "longer")
    pond.change("longer", LENGTH, "70 m")
    pond.change("longer", ("runs", "pond", "lay"), {"shape": "coiled", "mean_diameter": "40 cm"})
    pond.change("longer", ("runs", "pond", "lay", "mean_diameter"), "50 cm")
    pond.save()
    saved = load_rig(pond.path).choices
    assert saved["longer"].network.runs["pond"].length == 70.0
    assert saved["reel"].network.runs["pond"].length == 62.0


def test_for_all_the_common_part_says_it_and_the_choices_own_go(pond):
    pond.change("reel", LENGTH, "70 m")
    pond.change(None, LENGTH, "80 m")
    assert {c.network.runs["pond"].length for c in pond.rig.choices.values()} == {80.0}
    said = tomllib.loads(pond.text)
    assert said["runs"]["pond"]["length"] == "80 m"
    assert all("length" not in c.get("runs", {}).get("pond", {}) for c in said["choices"].values())
    assert pond.undo()
    assert pond.rig.choices["reel"].network.runs["pond"].length == 70.0


def test_for_all_what_a_choice_says_otherwise_goes(pond):

    pond.change("beams", ("amplifier", "resistance"), "1 ohm")
    pond.change(None, ("amplifier", "damping_factor"), 50)
    assert {c.network.amplifier.resistance for c in pond.rig.choices.values()} == {0.16}


def test_several_values_are_one_step(pond):
    pond.change_many(
        "reel",
        {("cables", "reel", "conductor"): "6 mm2", ("cables", "reel", "strands"): "class 5"},
    )
    assert pond.undo()
    assert not pond.undo()


def test_what_is_there_already_is_no_step(pond):
    text = pond.text
    pond.change("reel", LENGTH, "62 m")
    pond.change(None, LENGTH, "62 m")
    assert pond.text == text
    assert not pond.unsaved
    assert not pond.undo()


def test_a_choice_is_edited_until_it_is_undone_or_has_another_name(pond):
    assert not any(map(pond.edited, pond.rig.choices))
    pond.change("reel", LENGTH, "70 m")
    assert [n for n in pond.rig.choices if pond.edited(n)] == ["reel"]
    pond.save()
    assert pond.edited("reel")
    for as_long in ("62 m", "6200 cm"):
        pond.change("reel", LENGTH, as_long)
        assert not pond.edited("reel")
    pond.undo()
    pond.undo()
    assert pond.edited("reel")
    pond.change("reel", ("label",), "2.5 mm2, 70 m of it")
    assert not pond.edited("reel")
    pond.change(None, LENGTH, "80 m")
    assert all(map(pond.edited, pond.rig.choices))
    pond.rename("bought", "long")
    assert not pond.edited("long")
    pond.change("long", LENGTH, "90 m")
    assert pond.edited("long")


def test_work_that_is_taken_up_is_edited_as_against_the_file(pond):
    pond.change("reel", LENGTH, "70 m")
    pond.close()
    again = RigDraft(pond.path)
    assert [n for n in again.rig.choices if again.edited(n)] == ["reel"]


def test_a_rig_without_choices_has_none_to_name(tmp_path):
    path = tmp_path / "plain.toml"
    text = (FOLDER / "saltmarsh.toml").read_text()
    text = text[: text.index("# ---- the choices")].replace(
        "[runs.pond]", '[runs.pond]\ncable = "reel"'
    )
    path.write_text(text)
    draft = RigDraft(path)
    for change in (draft.copy, draft.rename):
        with pytest.raises(RequestError, match="lists no choices"):
            change("as-described", "new")
    draft.change(None, LENGTH, "70 m")
    assert draft.rig.choices["as-described"].network.runs["pond"].length == 70.0


def test_tables_in_one_line_are_refused_or_right(tmp_path):
    path = tmp_path / "mill.toml"
    text = (FOLDER / "saltmarsh.toml").read_text()
    text = text[: text.index("[choices.reel]")]
    path.write_text(
        'choices = { a = { runs.pond.cable = "reel" }, b = { runs.pond.cable = "bell" } }\n' + text
    )
    draft = RigDraft(path)
    for change in (
        lambda: draft.copy("a", "c"),
        lambda: draft.rename("a", "c"),
        lambda: draft.remove("a"),
    ):
        before = draft.text
        try:
            change()
        except RigError as error:
            assert "text editor" in str(error)  # noqa: PT017
            assert draft.text == before
        else:
            draft.undo()
