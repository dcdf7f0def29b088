"""Editing a rig: comments stay, refusals change nothing, undo, recovery after a crash."""

import os
import subprocess
import sys
import tomllib
from pathlib import Path

import pytest

from auralize.errors import AuralizeError, RigError
from auralize.rig.editing import RigDraft
from auralize.rig.reading import load_rig

pytest.importorskip("tomlkit", reason="editing keeps comments with tomlkit (extra: bench)")
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
LENGTH = ("runs", "pond", "length")


@pytest.fixture
def path(tmp_path):
    copy = tmp_path / "mill.toml"
    copy.write_bytes(DEMO.read_bytes())
    return copy


def lengths(rig):
    return {name: choice.network.runs["pond"].length for name, choice in rig.choices.items()}


def test_a_change_is_for_one_choice_alone(path):
    draft = RigDraft(path)
    rig = draft.change("reel", LENGTH, "70 m")
    assert lengths(rig) == {"reel": 70.0, "bought": 62.0, "beams": 62.0}
    assert draft.value("reel", LENGTH) == "70 m"
    assert draft.value("bought", LENGTH) == "62 m"
    assert draft.value("bought", ("runs", "pond", "lay")) is None


def test_a_file_from_another_editor_keeps_its_line_ends(path):
    """With a byte order mark, which TOML allows and need not be kept."""
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    draft.save()
    saved = path.read_bytes()
    assert saved.count(b"\r\n") == saved.count(b"\n") > 60
    assert lengths(load_rig(path))["reel"] == 70.0


def test_nothing_is_written_to_the_rig_file_until_asked(path):
    before = path.read_bytes()
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    assert draft.unsaved
    assert path.read_bytes() == before


def test_saving_keeps_every_comment(path):
    comments = [line[line.index("#") :] for line in path.read_text().splitlines() if "#" in line]
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "230 ft")
    draft.change("bought", ("cables", "bought", "conductor"), "6 mm2")
    draft.save()
    text = path.read_text()
    assert all(comment in text for comment in comments)
    assert lengths(load_rig(path))["reel"] == pytest.approx(230 * 0.3048)
    assert not draft.unsaved
    assert list(path.parent.iterdir()) == [path]


def test_only_the_changed_lines_differ(path):
    before = path.read_text().splitlines()
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    draft.save()
    after = path.read_text().splitlines()
    assert [line for line in before if line not in after] == []
    added = [line for line in after if line not in before and line.strip()]
    assert len(added) <= 2
    assert any("70 m" in line for line in added)


def test_a_refused_change_leaves_everything_as_it_was(path):
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    text = draft.text
    with pytest.raises(RigError, match=r"choices\.reel\.runs\.pond\.length: '-3 m' was found"):
        draft.change("reel", LENGTH, "-3 m")
    assert draft.text == text
    assert lengths(draft.rig)["reel"] == 70.0


def test_undo_goes_back_step_by_step(path):
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    draft.change("reel", LENGTH, "80 m")
    assert draft.undo()
    assert lengths(draft.rig)["reel"] == 70.0
    assert draft.undo()
    assert not draft.unsaved
    assert not draft.undo()
    assert lengths(draft.rig)["reel"] == 62.0


def test_giving_up_goes_back_to_the_file(path):
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    draft.give_up()
    assert not draft.unsaved
    assert list(path.parent.iterdir()) == [path]


def test_unsaved_work_survives_a_killed_process(path):
    program = (
        "import os, signal, sys; from pathlib import Path; from auralize.rig.editing import RigDraft;"
        "RigDraft(Path(sys.argv[1])).change('reel', ('runs', 'pond', 'length'), '71 m');"
        "os.kill(os.getpid(), signal.SIGKILL)"
    )
    subprocess.run([sys.executable, "-c", program, str(path)], check=False)
    assert "71 m" not in path.read_text()
    draft = RigDraft(path)
    assert draft.recovered
    assert lengths(draft.rig)["reel"] == 71.0
    draft.save()
    assert not RigDraft(path).recovered


def test_a_rig_without_choices_is_edited_itself(tmp_path):
    path = tmp_path / "plain.toml"
    text = DEMO.read_text()
    path.write_text(
        text[: text.index("# ---- the choices")] + '[runs.pond.lay]\nshape = "straight"\n'
    )
    with path.open("a") as file:
        file.write("")
    text = path.read_text().replace("[runs.pond]", '[runs.pond]\ncable = "reel"')
    path.write_text(text)
    draft = RigDraft(path)
    draft.change("as-described", LENGTH, "50 m")
    draft.save()
    assert tomllib.loads(path.read_text())["runs"]["pond"]["length"] == "50 m"
    assert "choices" not in tomllib.loads(path.read_text())


def test_an_inline_table_can_be_changed(path):
    draft = RigDraft(path)
    draft.change("reel", ("runs", "pond", "lay"), {"shape": "coiled", "mean_diameter": "40 cm"})
    draft.change("reel", ("runs", "pond", "lay", "mean_diameter"), "50 cm")
    assert draft.value("reel", ("runs", "pond", "lay"))["mean_diameter"] == "50 cm"
    draft.save()
    assert "reel" in load_rig(path).choices


UNSAVED = "mill.toml.unsaved"
LAY_BELOW = """
[choices.reel.runs.pond.lay]
shape = "coiled"
mean_diameter = "40 cm"
"""
"""A header of its own, far below the dotted `runs.pond.cable` of the same table."""


def made(draft, place, value):
    """Whether an edit was made; one that was not has changed nothing."""
    before, refused = draft.text, ""
    try:
        draft.change("reel", place, value)
    except AuralizeError as error:
        refused = str(error)
    if refused:
        assert refused == (
            f"choices.reel.{'.'.join(place)} cannot be changed here; change it in a text editor"
        )
        assert draft.text == before
        return False
    inside = tomllib.loads(draft.text)["choices"]["reel"]
    for key in place:
        inside = inside[key]
    assert inside == value
    return True


@pytest.mark.parametrize(
    ("edits", "expected"),
    [
        ([(LENGTH, "70 m"), (("runs", "pond", "cable"), "bell")], [False, True]),
        ([(("runs", "pond", "lay", "mean_diameter"), "50 cm"), (LENGTH, "70 m")], [True, False]),
        ([(("runs", "pond", "lay"), {"shape": "straight"}), (LENGTH, "70 m")], [True, True]),
        ([(("amplifier", "damping_factor"), 50), (LENGTH, "70 m")], [True, False]),
    ],
)
def test_no_edit_writes_a_file_that_the_next_edit_cannot_read(path, edits, expected):
    path.write_text(path.read_text() + LAY_BELOW)
    draft = RigDraft(path)
    assert [made(draft, place, value) for place, value in edits] == expected
    assert made(draft, ("loads", "stage", "Re"), "6 ohm")
    draft.save()
    assert load_rig(path).choices["reel"].network.loads["stage"]


def test_after_giving_up_there_is_nothing_to_undo(path):
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    draft.give_up()
    assert lengths(draft.rig)["reel"] == 62.0
    assert not draft.undo()
    assert not draft.unsaved


def test_undo_takes_recovered_work_back_at_once_and_then_has_nothing_left(path):
    first = RigDraft(path)
    first.change("reel", LENGTH, "70 m")
    first.change("reel", LENGTH, "80 m")
    first.close()
    draft = RigDraft(path)
    assert draft.undo()
    assert lengths(draft.rig)["reel"] == 62.0
    assert not draft.undo()
    assert not path.with_name(UNSAVED).exists()


@pytest.mark.parametrize(("seconds", "stale"), [(60, True), (-60, False)])
def test_unsaved_work_is_stale_where_the_rig_file_was_changed_after_it(path, seconds, stale):
    """By the times of both, where it does not say itself from what it was made."""
    path.with_name(UNSAVED).write_text(path.read_text().replace("62 m", "70 m"))
    time = path.with_name(UNSAVED).stat().st_mtime + seconds
    os.utime(path, (time, time))
    draft = RigDraft(path)
    assert draft.recovered
    assert draft.stale == stale


def test_without_unsaved_work_nothing_is_stale(path):
    draft = RigDraft(path)
    assert not draft.recovered
    assert not draft.stale


@pytest.mark.parametrize(
    "content", [b"title = [", b"[choices.reel]\n", b"\xff\xfe\x00"], ids=["toml", "rig", "text"]
)
def test_unsaved_work_that_cannot_be_read_is_named_and_kept(path, content):
    """The rig file itself is sound: whoever reads the sentence must not go and look there."""
    path.with_name(UNSAVED).write_bytes(content)
    with pytest.raises(AuralizeError, match=r"mill\.toml\.unsaved: .* cannot be read"):
        RigDraft(path)
    assert path.with_name(UNSAVED).read_bytes() == content


def test_unsaved_work_that_somebody_else_wrote_is_neither_overwritten_nor_removed(path):
    """As a bench on another machine does, whose locks are not seen from here."""
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    path.with_name(UNSAVED).write_text("theirs")
    for work in (lambda: draft.change("reel", LENGTH, "80 m"), draft.give_up):
        work()
        assert f"{UNSAVED}: this file was written by somebody else meanwhile" in draft.unkept
        assert path.with_name(UNSAVED).read_text() == "theirs"


def test_an_edit_is_made_also_where_it_cannot_be_kept_for_a_crash(path):
    draft = RigDraft(path)
    assert draft.unkept == ""
    obstacle = path.with_name(UNSAVED)
    obstacle.mkdir()  # nobody can write a file there, not even root
    draft.change("reel", LENGTH, "70 m")
    assert lengths(draft.rig)["reel"] == 70.0
    assert draft.unsaved
    assert f"{UNSAVED}: this file cannot be written" in draft.unkept
    obstacle.rmdir()
    draft.change("reel", LENGTH, "80 m")
    assert draft.unkept == ""
    assert "80 m" in obstacle.read_text()
