"""A folder that is handed over: whole or not there, and in the place of nothing but one of its kind."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from auralize.errors import AudioFileError, FileError
from auralize.handover.folder import MARK, staged_folder
from auralize.temporaries import temporary_beside

CALL, OTHER = "0123456789abcdef", "fedcba9876543210"


def made(
    folder: Path,
    call: str = CALL,
    words: str = "page",
    replaces: bool = False,
    then: Callable[[Path], object] = lambda place: None,
) -> None:
    with staged_folder(folder, call, replaces) as place:
        (place / "page.html").write_text(words)
        (place / "sounds").mkdir()
        (place / "sounds" / "bells.wav").write_bytes(b"bells")
        then(place)


def held(folder: Path) -> dict[str, bytes | None]:
    """All that is in it, hidden and empty things too."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() if path.is_file() else None
        for path in folder.rglob("*")
    }


def test_it_appears_whole_with_the_folders_above_it(tmp_path: Path) -> None:
    made(tmp_path / "mill" / "show")
    there = held(tmp_path)
    assert set(there) == {
        "mill",
        "mill/show",
        "mill/show/page.html",
        "mill/show/sounds",
        "mill/show/sounds/bells.wav",
        f"mill/show/{MARK}",
    }
    made(tmp_path / "mill" / "show")
    assert held(tmp_path) == there


@pytest.mark.parametrize("earlier", [False, True])
def test_nothing_is_left_of_what_went_wrong(tmp_path: Path, earlier: bool) -> None:
    folder = tmp_path / "mill" / "show"
    if earlier:
        made(folder, OTHER)
    before = held(tmp_path)

    def fail(place: Path) -> None:
        raise AudioFileError(f"{place}/bells.wav is damaged")

    with pytest.raises(AudioFileError, match=r"show/bells.wav is damaged$"):
        made(folder, replaces=True, then=fail)
    assert held(tmp_path) == before


def test_a_disk_that_fails_is_told_of_the_folder(tmp_path: Path) -> None:
    def fail(place: Path) -> None:
        raise OSError(28, "No space left on device")

    with pytest.raises(FileError, match="show: this folder cannot be written: no space left"):
        made(tmp_path / "show", then=fail)
    assert held(tmp_path) == {}


def test_what_was_there_comes_back_where_the_name_cannot_be_taken(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    made(tmp_path / "show")
    before, rename = held(tmp_path), Path.rename

    def failing(path: Path, goal: Path) -> Path:
        if goal.name == "show" and (path / "page.html").read_text() == "another":
            raise OSError(5, "Input/output error")
        return rename(path, goal)

    monkeypatch.setattr(Path, "rename", failing)
    with pytest.raises(FileError, match="input/output error"):
        made(tmp_path / "show", words="another")
    assert held(tmp_path) == before


SPOILT: dict[str, Callable[[Path], object]] = {
    "a file beside": lambda folder: (folder / "notes.txt").write_text("mine"),
    "a hidden file": lambda folder: (folder / ".DS_Store").write_bytes(b""),
    "a file below": lambda folder: (folder / "sounds" / "mine.wav").write_bytes(b"mine"),
    "an empty folder": lambda folder: (folder / "mine").mkdir(),
    "a link": lambda folder: (folder / "mine").symlink_to(folder),
    "a link in place of a file": lambda folder: (
        (folder / "page.html").unlink(),
        (folder / "page.html").symlink_to("nothing"),
    ),
    "no mark": lambda folder: (folder / MARK).unlink(),
    "a mark that was changed": lambda folder: (folder / MARK).write_text(
        (folder / MARK).read_text().replace("bells.wav", "other.wav")
    ),
    "a mark of other things": lambda folder: (folder / MARK).write_text("[]"),
}


@pytest.mark.parametrize("replaces", [False, True])
@pytest.mark.parametrize("spoil", SPOILT.values(), ids=SPOILT)
def test_a_folder_with_anything_else_in_it_is_left_alone(
    tmp_path: Path, spoil: Callable[[Path], object], replaces: bool
) -> None:
    folder = tmp_path / "show"
    made(folder)
    spoil(folder)
    before = held(tmp_path)
    with pytest.raises(FileError, match=r"left alone.*--into names another folder"):
        made(folder, replaces=replaces)
    assert held(tmp_path) == before


CHANGED: dict[str, tuple[str, Callable[[Path], object]]] = {
    "another call": (OTHER, lambda folder: None),
    "a file changed": (CALL, lambda folder: (folder / "page.html").write_text("mine")),
    "a file gone": (CALL, lambda folder: (folder / "sounds" / "bells.wav").unlink()),
}


@pytest.mark.parametrize(("call", "change"), CHANGED.values(), ids=CHANGED)
def test_an_earlier_one_is_replaced_if_that_was_asked_for(
    tmp_path: Path, call: str, change: Callable[[Path], object]
) -> None:
    folder = tmp_path / "show"
    made(folder)
    good = held(tmp_path)
    change(folder)
    before = held(tmp_path)
    with pytest.raises(FileError, match=r"--replace replaces .*--into names another folder"):
        made(folder, call)
    assert held(tmp_path) == before
    made(folder, call, replaces=True)
    assert set(held(tmp_path)) == set(good)
    made(folder, call)


def test_what_came_meanwhile_stays(tmp_path: Path) -> None:
    folder = tmp_path / "show"

    def come(place: Path) -> None:
        folder.mkdir()
        (folder / "mine.txt").write_text("mine")

    with pytest.raises(FileError, match="left alone"):
        made(folder, replaces=True, then=come)
    assert held(tmp_path) == {"show": None, "show/mine.txt": b"mine"}


def test_an_empty_folder_keeps_its_rights_and_a_link_stays(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir(mode=0o750)
    (tmp_path / "show").symlink_to("empty")
    made(tmp_path / "show")
    assert (tmp_path / "show").readlink() == Path("empty")
    assert (tmp_path / "empty" / "page.html").is_file()
    assert (tmp_path / "empty").stat().st_mode & 0o777 == 0o750


def test_a_place_that_cannot_be_taken_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("mine")
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    for place, words in (
        (tmp_path / "file", "is no folder"),
        (Path("."), "you work in"),
        (tmp_path, "you work in"),
        (Path("/proc"), "a disk begins here"),
        (Path("deep", *["d" * 200] * 30), "file name too long"),
    ):
        with pytest.raises(FileError, match=words):
            made(place, replaces=True)
    assert held(tmp_path) == {"file": b"mine", "here": None}


def test_what_a_killed_one_left_is_swept(tmp_path: Path) -> None:
    child = subprocess.Popen([sys.executable, "-c", ""])
    child.wait()
    ours = temporary_beside(tmp_path / "show")
    left = ours.with_name(ours.name.replace(f"-{os.getpid()}-", f"-{child.pid}-"))
    (left / "sounds").mkdir(parents=True)
    (left / "sounds" / "bells.wav").write_bytes(b"half of it")
    ours.mkdir()  # of one that still runs
    made(tmp_path / "show")
    assert not left.exists()
    assert ours.exists()


KILLED = """
import os, signal, sys
from pathlib import Path
from auralize.handover.folder import staged_folder

left, rename = [int(sys.argv[2])], Path.rename

def struck(path, goal):
    left[0] -= 1
    if left[0] == 0:
        os.kill(os.getpid(), signal.SIGKILL)
    return rename(path, goal)

Path.rename = struck
with staged_folder(Path(sys.argv[1]), "fedcba9876543210", True) as place:
    (place / "page.html").write_text("another")
"""
"""Replaces a hand-over, and is killed just before it renames a folder for the n-th time."""


@pytest.mark.parametrize("at", [1, 2, 3])
@pytest.mark.parametrize("empty", [False, True])
def test_nothing_is_lost_by_a_kill_between_two_names(tmp_path: Path, at: int, empty: bool) -> None:
    folder = tmp_path / "show"
    made(folder)
    child = subprocess.run([sys.executable, "-c", KILLED, str(folder), str(at)], check=False)
    assert child.returncode == -signal.SIGKILL
    if empty:
        folder.mkdir(exist_ok=True)

    def fail(place: Path) -> None:
        raise AudioFileError("the programme is damaged")

    with pytest.raises(AudioFileError, match="damaged"):
        made(folder, replaces=True, then=fail)
    assert (folder / "page.html").read_text() == ("page" if at < 3 else "another")
    made(folder, replaces=True)
    assert not [name for name in held(tmp_path) if name.startswith(".")]
