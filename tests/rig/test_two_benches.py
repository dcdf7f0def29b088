"""Two benches on one rig file: each knows of the other, and neither touches the other's unsaved work."""

import os
import signal
import subprocess
import sys
from pathlib import Path
from types import SimpleNamespace

import pytest

from auralize.errors import RigError
from auralize.files import state_folder
from auralize.rig import seat
from auralize.rig.editing import RigDraft
from auralize.rig.seat import MOST

pytest.importorskip("tomlkit", reason="editing keeps comments with tomlkit (extra: bench)")
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
LENGTH = ("runs", "pond", "length")
OTHER = """
import sys, time
from pathlib import Path
from auralize.files import state_folder
from auralize.rig.editing import RigDraft
draft = RigDraft(Path(sys.argv[1]))
draft.change("reel", ("runs", "pond", "length"), "71 m")
print("ready", flush=True)
sys.stdin.read()
"""
"""A bench in another process, which has unsaved work until its input ends."""


@pytest.fixture
def path(tmp_path):
    copy = tmp_path / "mill.toml"
    copy.write_bytes(DEMO.read_bytes())
    return copy


@pytest.fixture
def other(path):
    command = [sys.executable, "-c", OTHER, str(path)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout.readline() == b"ready\n"
        yield process
        process.kill()


def length(draft):
    return draft.rig.choices["reel"].network.runs["pond"].length


def test_the_second_says_so_and_leaves_the_work_of_the_first_alone(path, other):
    kept = path.with_name("mill.toml.unsaved").read_bytes()
    draft = RigDraft(path)
    assert draft.others == (other.pid,)
    assert not draft.recovered
    assert length(draft) == 62.0
    draft.change("reel", LENGTH, "80 m")
    assert draft.unkept == ""
    draft.give_up()
    assert path.with_name("mill.toml.unsaved").read_bytes() == kept


def test_what_the_second_writes_is_news_to_the_first(path):
    first, second = RigDraft(path), RigDraft(path)
    assert first.others == ()
    first.change("reel", LENGTH, "70 m")
    second.change("reel", LENGTH, "80 m")
    second.save()
    assert first.theirs() == path.read_text()
    assert length(first) == 70.0


def test_a_bench_that_was_killed_is_none_and_its_work_is_found(path, other):
    other.send_signal(signal.SIGKILL)
    other.wait()
    draft = RigDraft(path)
    assert draft.others == ()
    assert draft.recovered
    assert length(draft) == 71.0


def test_work_of_a_second_that_was_killed_is_found_by_the_next(path, other):
    first_of_all = RigDraft(path)  # the second, as the other process was there before
    first_of_all.change("reel", LENGTH, "80 m")
    first_of_all.close()
    third = RigDraft(path)
    assert third.recovered
    assert length(third) == 80.0
    assert third.others == (other.pid,)


def test_work_of_a_second_is_found_when_nobody_is_there_any_more(path):
    first, second = RigDraft(path), RigDraft(path)
    second.change("reel", LENGTH, "80 m")
    first.close()
    second.close()
    third = RigDraft(path)
    assert (third.recovered, length(third)) == (True, 80.0)
    fourth = RigDraft(path)  # in the seat that the third left free
    assert (fourth.recovered, fourth.others) == (False, (os.getpid(),))


def test_the_second_is_known_when_the_first_is_gone(path):
    first, second = RigDraft(path), RigDraft(path)
    first.close()
    third = RigDraft(path)
    assert third.others == (os.getpid(),)
    assert second.others == third.others


def test_nothing_of_the_process_before_is_left_in_the_lock(path):
    """Its number may have had more digits."""
    RigDraft(path).close()
    for lock in (state_folder() / "benches").glob("*.lock"):
        lock.write_text("12345678901234")
    first, second = RigDraft(path), RigDraft(path)
    assert (first.others, second.others) == ((), (os.getpid(),))


def test_a_link_is_the_same_rig(path, tmp_path):
    link = tmp_path / "desk" / "today.toml"
    link.parent.mkdir()
    link.symlink_to(path)
    first, second = RigDraft(path), RigDraft(link)
    assert first.others == ()
    assert len(second.others) == 1


def test_more_benches_than_there_are_seats_are_refused(path):
    drafts = [RigDraft(path) for _ in range(MOST)]
    with pytest.raises(RigError, match=f"{MOST} benches"):
        RigDraft(path)
    drafts.pop().close()
    RigDraft(path)


def test_without_locks_it_opens_all_the_same(path, monkeypatch):
    def refused(*_):
        raise PermissionError

    with monkeypatch.context() as patch:
        patch.setattr(seat, "os", SimpleNamespace(**{**vars(os), "open": refused}))
        draft = RigDraft(path)
    assert draft.others == ()
    draft.change("reel", LENGTH, "70 m")
    assert draft.unkept == ""


def test_without_a_state_folder_it_opens_all_the_same(path, monkeypatch):
    monkeypatch.setenv("XDG_STATE_HOME", "/dev/null")
    draft = RigDraft(path)
    assert draft.others == ()
    draft.change("reel", LENGTH, "70 m")
    assert path.with_name("mill.toml.unsaved").exists()
