"""Files that appear whole or not at all: links and rights kept, nothing left behind, one sentence."""

import errno
import hashlib
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from auralize import files
from auralize.audio.writer import AudioWriter
from auralize.errors import AudioFileError, AuralizeError, FileError
from auralize.outputs import GrowingSum, sha256_of

Write = Callable[[Path], None]


def text(path: Path) -> None:
    files.write_text(path, "mill\n")


def content(path: Path) -> None:
    files.write_bytes(path, b"mill\n")


def staged_text(path: Path) -> None:
    with files.StagedText(path) as staged:
        staged.stage(b"mill\n")


def sound(path: Path) -> None:
    with AudioWriter(path, 48_000, 1, "PCM_24", 10) as writer:
        writer.write(np.zeros((10, 1)))


WRITERS = [text, content, staged_text, sound]


@pytest.fixture(params=WRITERS, ids=lambda write: write.__name__)
def write(request: pytest.FixtureRequest) -> Write:
    found: Write = request.param
    return found


@pytest.fixture(params=[0o000, 0o027], ids=oct)
def umask(request: pytest.FixtureRequest) -> Iterator[int]:
    """Whatever the tests are run with."""
    mask: int = request.param
    before = os.umask(mask)
    yield mask
    os.umask(before)


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


def names(folder: Path) -> list[str]:
    return sorted(os.listdir(folder))


def test_a_new_file_has_the_rights_that_the_user_s_umask_leaves(
    write: Write, tmp_path: Path, umask: int
) -> None:
    write(tmp_path / "a.wav")
    assert mode(tmp_path / "a.wav") == 0o666 & ~umask
    assert names(tmp_path) == ["a.wav"]


@pytest.mark.parametrize("kept", [0o600, 0o640, 0o664])
def test_an_existing_file_s_rights_are_kept(
    write: Write, tmp_path: Path, umask: int, kept: int
) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"before")
    path.chmod(kept)
    write(path)
    assert mode(path) == kept
    assert path.read_bytes() != b"before"


@pytest.mark.skipif(os.geteuid() != 0, reason="only the superuser may give files away")
def test_an_existing_file_s_owner_is_kept_where_the_superuser_writes(
    write: Write, tmp_path: Path
) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"before")
    os.chown(path, 1234, 4321)
    write(path)
    assert (path.stat().st_uid, path.stat().st_gid) == (1234, 4321)


@pytest.mark.parametrize("relative", [False, True])
def test_a_link_stays_and_its_goal_gets_the_content(
    write: Write, tmp_path: Path, relative: bool
) -> None:
    goal, link = tmp_path / "store" / "goal.wav", tmp_path / "desk" / "a.wav"
    goal.parent.mkdir()
    link.parent.mkdir()
    goal.write_bytes(b"before")
    link.symlink_to("../store/goal.wav" if relative else goal)
    write(link)
    assert link.is_symlink()
    assert goal.read_bytes() == link.read_bytes() != b"before"
    assert names(goal.parent) == ["goal.wav"]
    assert names(link.parent) == ["a.wav"]


def test_a_link_to_a_file_yet_to_come_makes_that_file(write: Write, tmp_path: Path) -> None:
    link = tmp_path / "a.wav"
    link.symlink_to("goal.wav")
    write(link)
    assert link.is_symlink()
    assert (tmp_path / "goal.wav").stat().st_size > 0


def failing(*_: object) -> None:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


@pytest.mark.parametrize("call", ["fsync", "replace", "chmod"])
def test_every_failure_is_a_sentence_and_leaves_the_old_file_alone(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, call: str
) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"before")
    monkeypatch.setattr(os, call, failing)
    with pytest.raises(AuralizeError, match=r"(?i)cannot be written: no space left") as caught:
        write(path)
    assert str(caught.value).startswith(str(path))
    assert names(tmp_path) == ["a.wav"]
    assert path.read_bytes() == b"before"


def test_an_interruption_leaves_nothing_behind(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "fsync", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write(tmp_path / "a.wav")
    assert names(tmp_path) == []


def test_what_was_written_is_on_the_disk_before_it_has_its_name_and_the_name_after(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []
    sync, replace = os.fsync, os.replace

    def watched_sync(descriptor: int) -> None:
        kind = os.fstat(descriptor).st_mode
        seen.append("folder" if stat.S_ISDIR(kind) else "file")
        sync(descriptor)

    def watched_replace(source: Path, goal: Path) -> None:
        seen.append("named")
        assert Path(source).stat().st_size > 0
        replace(source, goal)

    monkeypatch.setattr(os, "fsync", watched_sync)
    monkeypatch.setattr(os, "replace", watched_replace)
    write(tmp_path / "a.wav")
    assert seen == ["file", "named", "folder"]


def test_a_folder_that_cannot_be_put_on_the_disk_does_no_harm(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Not every system, and not every file system, lets a folder be opened or synchronised."""
    sync = os.fsync

    def files_only(descriptor: int) -> None:
        if stat.S_ISDIR(os.fstat(descriptor).st_mode):
            raise OSError(errno.EINVAL, os.strerror(errno.EINVAL))
        sync(descriptor)

    monkeypatch.setattr(os, "fsync", files_only)
    write(tmp_path / "a.wav")
    assert names(tmp_path) == ["a.wav"]


def test_a_private_file_is_private_while_it_is_written_too(
    write: Write, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, umask: int
) -> None:
    path = tmp_path / "a.wav"
    path.write_bytes(b"before")
    path.chmod(0o600)
    seen: list[int] = []
    sync = os.fsync

    def watched(descriptor: int) -> None:
        if stat.S_ISREG(found := os.fstat(descriptor).st_mode):
            seen.append(stat.S_IMODE(found))
        sync(descriptor)

    monkeypatch.setattr(os, "fsync", watched)
    write(path)
    assert seen == [0o600]


@pytest.mark.parametrize("write", [text, content, staged_text], ids=lambda w: w.__name__)
def test_what_is_no_file_is_not_replaced(write: Write, tmp_path: Path) -> None:
    folder, pipe, link = tmp_path / "folder", tmp_path / "pipe", tmp_path / "link"
    folder.mkdir()
    os.mkfifo(pipe)
    link.symlink_to(pipe)
    for path, reason in ((folder, "is a directory"), (pipe, "is a pipe"), (link, "is a pipe")):
        with pytest.raises(FileError, match=f"this file cannot be written: {reason}"):
            write(path)
        with pytest.raises(FileError, match=f"this file cannot be written: {reason}"):
            files.check_text(path)
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    assert names(tmp_path) == ["folder", "link", "pipe"]


def test_a_write_protected_file_is_not_replaced(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The superuser may write to any file, and so the system's answer is given here."""
    path = tmp_path / "a.txt"
    path.write_bytes(b"before")
    monkeypatch.setattr(os, "access", lambda path, wanted: wanted != os.W_OK)
    for write in (text, content, staged_text, files.check_text):
        with pytest.raises(FileError, match="cannot be written: is write-protected"):
            write(path)
    assert path.read_bytes() == b"before"


def test_a_folder_that_is_not_there_is_a_sentence(tmp_path: Path) -> None:
    for write in (text, content, staged_text):
        with pytest.raises(FileError, match="cannot be written: no such file or directory"):
            write(tmp_path / "no" / "a.txt")


def test_a_folder_is_made_with_its_parents_or_refused_in_a_sentence(tmp_path: Path) -> None:
    files.make_folder(tmp_path / "a" / "b")
    files.make_folder(tmp_path / "a" / "b")
    assert (tmp_path / "a" / "b").is_dir()
    (tmp_path / "file").write_text("")
    with pytest.raises(FileError, match="this folder cannot be made: "):
        files.make_folder(tmp_path / "file" / "b")


def test_a_text_that_was_given_up_leaves_the_old_one(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    path.write_text("before")

    def given_up() -> None:
        with files.StagedText(path) as staged:
            staged.stage(b"mill\n")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        given_up()
    assert path.read_text() == "before"
    assert names(tmp_path) == ["a.txt"]


def test_whether_an_earlier_file_was_replaced_is_known(tmp_path: Path) -> None:
    for before in (False, True):
        with files.StagedFile(tmp_path / "a.txt") as staged:
            staged.temporary.write_bytes(b"mill")
        assert staged.replaced is before


def test_a_copy_is_as_private_as_what_it_is_like(tmp_path: Path, umask: int) -> None:
    rig, copy = tmp_path / "rig", tmp_path / "copy"
    rig.write_bytes(b"")
    for kept, wanted in ((0o600, 0o600), (0o644, 0o644), (0o400, 0o600), (0o600, 0o600)):
        rig.chmod(kept)
        files.write_text(copy, "mill", like=rig)
        assert mode(copy) == wanted
    rig.unlink()
    files.write_text(copy, "mill", like=rig)
    assert mode(copy) == 0o600


def test_signs_that_utf_8_does_not_have_are_spelt_out(tmp_path: Path) -> None:
    files.write_text(tmp_path / "a.txt", "M\u00fchle \udcfc")
    assert (tmp_path / "a.txt").read_bytes() == "M\u00fchle \\udcfc".encode()


def test_a_sound_file_says_so_in_its_own_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "replace", failing)
    with pytest.raises(AudioFileError, match=r"a\.wav cannot be written: No space left on device$"):
        sound(tmp_path / "a.wav")


def test_ctrl_c_just_after_the_temporary_file_was_made_leaves_none(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is not yet known then that there is something to discard."""
    close = os.close

    def stopped(descriptor: int) -> None:
        close(descriptor)
        raise KeyboardInterrupt

    monkeypatch.setattr(os, "close", stopped)
    with pytest.raises(KeyboardInterrupt):
        files.StagedFile(tmp_path / "gate.txt").open()
    monkeypatch.undo()
    assert list(tmp_path.iterdir()) == []


def test_the_sum_of_a_file_that_grows_is_that_of_the_whole(tmp_path: Path) -> None:
    """Of any end, and though what lies behind that is written later."""
    path, content = tmp_path / "a.wav", np.random.default_rng(1).bytes(600_001)
    growing = GrowingSum(path)
    with pytest.raises(FileNotFoundError):
        growing.up_to(1)
    with pytest.raises(FileError, match="cannot be read: no such file"):
        sha256_of(path)
    for end in (44, 44, 300_000, 300_001, 570_000):
        path.write_bytes(content[:end] + bytes(600_001 - end))
        growing.up_to(end)
    path.write_bytes(content)
    assert growing.whole() == hashlib.sha256(content).hexdigest()
