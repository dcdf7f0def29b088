"""A rig file that somebody else changes while it is edited: nothing of either is lost unasked."""

import os
from pathlib import Path

import pytest

from auralize.errors import AuralizeError, FileError, RigError
from auralize.rig import editing
from auralize.rig.editing import ChangedElsewhereError, RigDraft
from auralize.rig.reading import load_rig

pytest.importorskip("tomlkit", reason="editing keeps comments with tomlkit (extra: bench)")
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
LENGTH = ("runs", "pond", "length")
UNSAVED = "mill.toml.unsaved"


@pytest.fixture
def path(tmp_path):
    copy = tmp_path / "mill.toml"
    copy.write_bytes(DEMO.read_bytes())
    return copy


def outside(path, length="99 m"):
    """Somebody else's editor; the time of the file as it was, as rsync and cp -p leave it."""
    before = path.stat()
    text = path.read_text().replace('length = "62 m"', f'length = "{length}"')
    path.write_text(text)
    os.utime(path, (before.st_atime, before.st_mtime))
    return text


@pytest.fixture
def parted(path):
    """A draft with 70 m for the reel, and a file that has got 99 m for all meanwhile."""
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    return draft, outside(path)


def test_it_is_not_overwritten_unasked_and_both_can_be_compared(parted, path):
    draft, theirs = parted
    with pytest.raises(ChangedElsewhereError, match="changed elsewhere"):
        draft.save()
    assert path.read_text() == theirs
    assert draft.theirs() == theirs
    told = draft.differences(theirs)
    assert '- length = "99 m"' in told
    assert '+ length = "62 m"' in told
    assert any(line.startswith("+ ") and "70 m" in line for line in told)


def test_mine_is_written_over_what_was_shown_and_over_nothing_else(parted, path):
    draft, _ = parted
    shown = draft.theirs()
    later = outside(path, "98 m").replace("99 m", "98 m")
    path.write_text(later)
    with pytest.raises(ChangedElsewhereError):
        draft.save(over=shown)
    assert path.read_text() == later
    draft.save(over=later)
    assert draft.rig.choices["reel"].network.runs["pond"].length == 70.0
    assert load_rig(path).choices == draft.rig.choices
    assert not draft.unsaved


def test_both_are_kept_and_work_goes_on_in_the_new_file(parted, path):
    draft, theirs = parted
    path.with_name("mill.mine.toml").write_text("somebody's own")
    assert draft.name_beside() == "mill.mine-2.toml"
    with pytest.raises(AuralizeError, match="is there"):
        draft.keep_both("mill.mine.toml")
    assert path.with_name("mill.mine.toml").read_text() == "somebody's own"
    draft.keep_both(draft.name_beside())
    assert path.read_text() == theirs
    assert draft.path == path.with_name("mill.mine-2.toml")
    assert load_rig(draft.path).choices["reel"].network.runs["pond"].length == 70.0
    assert not draft.unsaved
    assert not path.with_name(UNSAVED).exists()
    assert draft.undo()
    assert draft.path.with_name("mill.mine-2.toml.unsaved").exists()


def test_a_name_beside_that_cannot_be_written_to_leaves_nothing(parted, path, monkeypatch):
    def full(*_, **__):
        raise FileError("the disk is full")

    before = set(path.parent.iterdir())
    with monkeypatch.context() as patch:
        patch.setattr(editing, "write_text", full)
        with pytest.raises(FileError, match="full"):
            parted[0].keep_both("mill.mine.toml")
    assert set(path.parent.iterdir()) == before
    parted[0].keep_both("mill.mine.toml")


@pytest.mark.parametrize("name", ["", "..", "a/b.toml", "mill\n.toml", "/tmp/x.toml", "mine"])
def test_a_name_that_cannot_be_is_refused(parted, path, name):
    before = set(path.parent.iterdir())
    with pytest.raises(AuralizeError, match="right is"):
        parted[0].keep_both(name)
    assert set(path.parent.iterdir()) == before


def test_theirs_is_taken_up_and_undo_has_mine(parted, path):
    draft, _ = parted
    draft.take_theirs()
    assert not draft.unsaved
    assert draft.rig.choices["reel"].network.runs["pond"].length == 99.0
    assert not path.with_name(UNSAVED).exists()
    assert draft.undo()
    assert draft.rig.choices["reel"].network.runs["pond"].length == 70.0
    draft.save()  # over what was taken up
    assert load_rig(path).choices["reel"].network.runs["pond"].length == 70.0


@pytest.mark.parametrize("content", [b"title = [", b"\xff\xfe\x00"])
def test_what_cannot_be_read_is_no_dead_end(parted, path, content):
    draft, _ = parted
    path.write_bytes(content)
    with pytest.raises(RigError):
        draft.take_theirs()
    assert draft.rig.choices["reel"].network.runs["pond"].length == 70.0
    draft.save(over=draft.theirs())
    assert load_rig(path).choices["reel"].network.runs["pond"].length == 70.0


def test_the_same_change_made_outside_is_no_matter(path):
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    path.write_text(draft.text)
    assert draft.theirs() is None
    draft.save()


def test_work_of_a_crash_on_a_file_that_was_changed_since_is_not_written_unasked(path):
    """Whatever the times of the files say: the work remembers what it was made from."""
    first = RigDraft(path)
    first.change("reel", LENGTH, "70 m")
    first.close()
    theirs = outside(path)
    draft = RigDraft(path)
    assert draft.recovered
    assert draft.stale
    with pytest.raises(ChangedElsewhereError):
        draft.save()
    assert path.read_text() == theirs
    draft.change("reel", LENGTH, "71 m")
    draft.close()
    again = RigDraft(path)
    assert again.stale  # going on with it makes it no newer
    with pytest.raises(ChangedElsewhereError):
        again.save()


def test_unsaved_work_of_another_name_is_left_alone(parted, path):
    """Of a rig file that is gone: whoever takes its name would take that work for its own, and clear it."""
    left = path.with_name("mill.mine.toml.unsaved")
    left.write_text("somebody's work")
    draft = parted[0]
    assert draft.name_beside() == "mill.mine-2.toml"
    with pytest.raises(AuralizeError, match=r"unsaved work on mill\.mine\.toml is there; right is"):
        draft.keep_both("mill.mine.toml")
    assert left.read_text() == "somebody's work"
    assert not path.with_name("mill.mine.toml").exists()
    draft.keep_both(draft.name_beside())
    assert left.read_text() == "somebody's work"


def test_a_rig_with_the_longest_name_opens_and_says_that_a_crash_would_lose_work(tmp_path, path):
    long = tmp_path / f"{'m' * 250}.toml"
    long.write_text(path.read_text())
    draft = RigDraft(long)
    draft.change("reel", ("runs", "pond", "length"), "70 m")
    assert "name too long" in draft.unkept
    draft.save()
    assert load_rig(long).choices["reel"].network.runs["pond"].length == 70.0
    draft.close()
