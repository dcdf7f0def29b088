"""Editing a rig file without losing its comments: change, undo, save when asked, survive a crash.

What somebody else does to the file meanwhile is neither overwritten nor taken up unasked.
"""

from __future__ import annotations

import difflib
import os
from contextlib import suppress
from pathlib import Path

from auralize.errors import AuralizeError, FileError, RequestError, RigError
from auralize.files import read_bounded, write_text
from auralize.rig.draft import Draft, by_name
from auralize.rig.reading import MOST_BYTES, Rig
from auralize.rig.recovery import Recovery, read_text, recovery_path


class ChangedElsewhereError(RigError):
    """Somebody else has written the rig file since it was read."""


class RigDraft(Draft):
    """A rig file being edited. What it holds is always a rig that reads without error.

    Every change is at once written to a recovery file beside the rig file, which goes when the work is
    saved or given up; one that is found on opening was left by a crash, see `recovered`. A second bench
    on the same rig has a recovery file of its own (see `others`). `close` lets go of the rig.
    """

    def __init__(self, path: Path, *, files_anywhere: bool = False) -> None:
        self._saved = read_text(path)
        self._line_end = "\r\n" if b"\r\n" in path.read_bytes() else "\n"
        self._recovery = Recovery(path)
        self.recovered = self._recovery.found
        """True where unsaved work of an earlier session was found, and is what this draft holds."""
        self.stale = self._recovery.stale(self._saved)
        """True where the rig file was changed after that work."""
        self._over = None if self.stale else self._saved
        """What the rig file may hold to be written over unasked; None: nothing."""
        self.unkept = ""
        """Why unsaved work would not survive a crash; empty where it would."""
        try:
            text = self._recovery.text if self.recovered else self._saved
            super().__init__(text, path, files_anywhere=files_anywhere)
        except AuralizeError as error:
            self.close()
            if not self.recovered:
                raise
            raise RigError(
                f"{self._recovery.path}: this unsaved work cannot be read ({error}); move it away"
            ) from None
        if self.recovered:
            self._history.append(self._saved)
            with suppress(AuralizeError):
                self._named |= by_name(self._checked(self._saved))

    def close(self) -> None:
        """Let go of the rig; unsaved work stays, and is found by the next bench."""
        self._recovery.leave()

    @property
    def others(self) -> tuple[int, ...]:
        """Processes of the benches that were open on the same rig before; 0 for one that is not known."""
        return self._recovery.others

    @property
    def unsaved(self) -> bool:
        """Whether the draft differs from the file."""
        return self._text != self._saved

    # ---- the file

    def theirs(self) -> str | None:
        """The rig file, where somebody else has changed it since it was read and not just as here."""
        if not self.path.exists():
            return None
        now = _as_it_is(self.path)
        return None if now in (self._over, self._text) else now

    def differences(self, theirs: str) -> list[str]:
        """Lines of theirs alone, behind a minus, and of mine alone, behind a plus."""
        lines = difflib.unified_diff(theirs.splitlines(), self._text.splitlines(), n=0, lineterm="")
        return [f"{line[0]} {line[1:].strip()}" for line in list(lines)[2:] if line[0] in "+-"]

    def save(self, over: str | None = None) -> None:
        """Write the draft to the rig file; raises AuralizeError, and the draft stays.

        So it does (ChangedElsewhereError) where somebody else has written the file since it was read,
        unless it holds just what is to be written ``over``.
        """
        theirs = self.theirs()
        if theirs is not None and theirs != over:
            raise ChangedElsewhereError(
                f"{self.path}: this file was changed elsewhere since it was opened; the work is kept in "
                f"{self._recovery.path.name}"
            )
        write_text(self.path, self._text.replace("\n", self._line_end))
        self._saved = self._over = self._text
        self._hold(self.rig, self._text)

    def name_beside(self) -> str:
        """A name for mine beside theirs that no file has."""
        stem = self.path.name.removesuffix(".toml")
        names = [f"{stem}.mine.toml", *(f"{stem}.mine-{n}.toml" for n in range(2, 100))]
        return next((n for n in names if self._is_free(self.path.with_name(n))), names[0])

    def _is_free(self, path: Path) -> bool:
        """Whether there is neither such a file nor unsaved work on one."""
        return not (os.path.lexists(path) or os.path.lexists(recovery_path(path)))

    def keep_both(self, name: str) -> None:
        """Write mine to a new file of this name beside theirs, and go on there; raises AuralizeError."""
        if name != os.path.basename(name) or not name.isprintable() or not name.endswith(".toml"):
            raise RequestError(
                f"{name!r} was found; right is a name such as {self.name_beside()!r}"
            )
        path = self.path.with_name(name)
        if os.path.lexists(recovery_path(path)):
            raise RequestError(
                f"unsaved work on {name} is there; right is a name such as {self.name_beside()!r}"
            )
        _write_new(path, self._text.replace("\n", self._line_end), self.path)
        self._recovery.clear()
        self.close()
        self.path, self._saved, self._over = path, self._text, self._text
        self._recovery = Recovery(path)
        self._hold(self._checked(self._text), self._text)

    def take_theirs(self) -> None:
        """Hold what is in the file now; `undo` goes back to mine. Raises RigError, and mine stays."""
        theirs = read_text(self.path)
        rig = self._checked(theirs)
        self._history.append(self._text)
        self._saved = self._over = theirs
        self._hold(rig, theirs)

    def give_up(self) -> None:
        """Go back to what was in the file."""
        self._history.clear()
        self._hold(self._checked(self._saved), self._saved)

    def _hold(self, rig: Rig, text: str) -> None:
        """Write or remove the recovery file; where that fails, the work itself goes on."""
        super()._hold(rig, text)
        kept = self._recovery
        self.unkept = kept.keep(text, self._over) if self.unsaved else kept.clear()


def _write_new(path: Path, text: str, like: Path) -> None:
    """Write a file that is not there; raises FileError where one is."""
    try:
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
    except FileExistsError:
        raise FileError(f"{path}: this file is there, and stays; give another name") from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{path}: this file cannot be written: {reason}") from None
    try:
        write_text(path, text, like=like)
    except BaseException:
        path.unlink(missing_ok=True)
        raise


def _as_it_is(path: Path) -> str:
    """A file's text, whatever is in it; raises RigError where it cannot be opened."""
    try:
        content = read_bounded(path, MOST_BYTES)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RigError(f"{path}: the rig file cannot be read: {reason}") from None
    text = content.decode("utf-8-sig", errors="replace")
    return text.replace("\r\n", "\n").replace("\r", "\n")
