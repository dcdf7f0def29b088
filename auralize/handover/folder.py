"""A folder that appears whole or not at all, and takes the place only of what was handed over before.

It is made beside its place under a hidden name, and renamed at the end. A mark in it says which call made
it, and what is in every file; so a folder with anything else in it is never written into.
"""

from __future__ import annotations

import json
import os
import shutil
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Final

from auralize.errors import AuralizeError, FileError
from auralize.files import encoded, read_bounded, signals_held, sync_folder
from auralize.outputs import VERSION, InTheWayError, made_by, made_folder, marked, sha256_of
from auralize.temporaries import is_left, sweep, temporary_beside

MARK: Final = "handover.json"
_MOST_BYTES: Final = 1_000_000
"""No mark is larger: it lists some hundred files."""
_ELSEWHERE: Final = "--into names another folder"


@contextmanager
def staged_folder(folder: Path, call: str, replaces: bool) -> Iterator[Path]:
    """A hidden folder to write in, which becomes ``folder`` on leaving, or goes with an exception.

    Raises FileError at once, and again at the end, where `check_folder` does.
    """
    goal = Path(os.path.realpath(folder))
    bring_back(folder)
    check_folder(folder, call, replaces)
    temporary = temporary_beside(goal)
    with _told(folder, temporary), made_folder(goal.parent):
        try:
            sweep(goal.parent)
            if goal.exists():
                for earlier in _left_aside(goal):  # of one that was killed right after
                    shutil.rmtree(earlier, ignore_errors=True)
            temporary.mkdir()
            yield temporary
            _mark(temporary, call)
            _put_on_disk(temporary)
            check_folder(folder, call, replaces)  # somebody may have put something there
            _take_name(temporary, goal)
        finally:
            shutil.rmtree(temporary, ignore_errors=True)


def _mark(folder: Path, call: str) -> None:
    """Say in it what is in it."""
    files = {name: sha256_of(folder / name) for name in _files(folder)}
    made = {"made_by": f"auralize {VERSION}", "files": files}
    content = encoded(json.dumps(made, indent=2, ensure_ascii=False) + "\n")
    (folder / MARK).write_bytes(marked(content, ".json", call))


def _put_on_disk(folder: Path) -> None:
    """Put all files in a folder, and in those below, on the disk; raises OSError."""
    for place, _, files in os.walk(folder):
        for name in files:
            with open(os.path.join(place, name), "rb+") as file:
                os.fsync(file.fileno())
        sync_folder(Path(place))


def _take_name(temporary: Path, goal: Path) -> None:
    """Put it in its place; what was there gets the hidden name then, and comes back if that fails."""
    with signals_held():
        earlier = _aside(goal) if goal.exists() else None
        if earlier is not None:
            temporary.chmod(goal.stat().st_mode)
            goal.rename(earlier)
        try:
            temporary.rename(goal)
        except BaseException:
            if earlier is not None:
                earlier.rename(goal)
            raise
        if earlier is not None:
            earlier.rename(temporary)  # so that whoever sweeps knows that it may go
        sync_folder(goal.parent)
        shutil.rmtree(temporary, ignore_errors=True)


def _aside(goal: Path) -> Path:
    """A name for what was there, while another takes its place: one that `sweep` leaves alone."""
    return temporary_beside(goal).with_suffix(f".{_number(goal)}")


def _left_aside(goal: Path) -> list[Path]:
    """What a program that was killed just then left under such a name: one or none."""
    with suppress(OSError):
        return [path for path in goal.parent.glob(f".*.{_number(goal)}") if is_left(path)]
    return []


def bring_back(folder: Path) -> None:
    """Give what a kill between two renames left its name again, where nothing but an empty folder has it."""
    goal = Path(os.path.realpath(folder))
    for earlier in _left_aside(goal):
        with suppress(OSError):
            earlier.rename(goal)


def _number(goal: Path) -> str:
    """Which folder it was: of its name no more, as names have a longest length."""
    return f"{zlib.crc32(os.fsencode(goal.name)):08x}"


@contextmanager
def _told(folder: Path, temporary: Path) -> Iterator[None]:
    """Whatever goes wrong is told of the folder's own name."""
    try:
        yield
    except AuralizeError as error:
        told = str(error).replace(str(temporary), str(folder))
        raise type(error)(told) from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{folder}: this folder cannot be written: {reason}") from None


# --- what is there already ------------------------------------------------------------------------


def check_folder(folder: Path, call: str, replaces: bool) -> None:
    """Raise FileError for a place that cannot be taken, or is not to be taken unasked; touch nothing.

    It can be where nothing is, where an empty folder is, and where a hand-over is as the same call left it;
    with ``replaces`` also where any hand-over is, with nothing else in it.
    """
    if not os.path.lexists(folder):
        return
    if not folder.is_dir():
        raise FileError(f"{folder}: this is there, and is no folder; {_ELSEWHERE}")
    _check_place(folder)
    try:
        files = _files(folder)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{folder}: this folder cannot be read: {reason}") from None
    if files:
        _check_ours(folder, files, call, replaces)


def _check_place(folder: Path) -> None:
    """Refuse what cannot be put in place as a whole: where a disk begins, where somebody stands."""
    here = Path(os.path.realpath(folder))
    within = f"name a folder of its own in it, such as {folder / 'handover'}"
    if os.path.ismount(here):
        raise FileError(f"{folder}: a disk begins here, so the folder stays as it is; {within}")
    if here in (Path.cwd(), *Path.cwd().parents):
        raise FileError(
            f"{folder}: this is the folder that you work in, which stays as it is; {within}"
        )


def _check_ours(folder: Path, files: list[str], call: str, replaces: bool) -> None:
    told = _told_in(folder)
    ours = {MARK, *(told or ())}
    ours |= {above.as_posix() for name in ours for above in Path(name).parents}
    foreign = [name for name in files if name not in ours or (folder / name).is_symlink()]
    if told is None and MARK in files and MARK not in foreign:
        raise InTheWayError(
            f"{folder}: {MARK} in it is not as auralize left it, so nobody can tell whose the files are; the "
            f"folder is left alone, even with --replace; {_ELSEWHERE}"
        )
    if told is None or foreign:
        raise InTheWayError(
            f"{folder}: files are in it that auralize did not hand over, such as {foreign[0]}; the folder is "
            f"left alone; {_ELSEWHERE}"
        )
    if replaces:
        return
    if made_by(folder / MARK) != call:
        raise InTheWayError(
            f"{folder}: what is there was made from another rig, from another source, or with other options; "
            f"--replace replaces it, {_ELSEWHERE}"
        )
    for name, digest in told.items():
        if name not in files or sha256_of(folder / name) != digest:
            raise InTheWayError(
                f"{folder / name}: this file was changed or removed since it was handed over; --replace "
                f"replaces the folder, {_ELSEWHERE}"
            )


def _told_in(folder: Path) -> dict[str, Any] | None:
    """The files that our mark tells of, with their hashes; None without a mark as we leave it."""
    mark = folder / MARK
    if made_by(mark) is None:
        return None
    with suppress(OSError, ValueError, LookupError, AttributeError):
        return dict(json.loads(read_bounded(mark, _MOST_BYTES))["files"])
    return None


def _files(folder: Path) -> list[str]:
    """All that is in a folder and below, by name; of a folder that is empty its own. Raises OSError."""
    found = []
    for place, folders, files in os.walk(folder, onerror=_raised):
        at = Path(place)
        links = [name for name in folders if (at / name).is_symlink()]
        empty = not files and not folders and at != folder
        found += [at] if empty else [at / name for name in (*files, *links)]
    return sorted(path.relative_to(folder).as_posix() for path in found)


def _raised(error: OSError) -> None:
    raise error
