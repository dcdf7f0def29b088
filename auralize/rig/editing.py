"""Editing a rig file without losing its comments: change, undo, save when asked, survive a crash."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from auralize.errors import AuralizeError, RequestError, RigError
from auralize.files import write_text
from auralize.rig.reading import ONLY_CHOICE, Rig, read_rig, read_rig_text

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

RECOVERY: Final = "{name}.unsaved"
"""Name beside the rig file under which unsaved work is kept."""


class RigDraft:
    """A rig file being edited. What it holds is always a rig that reads without error.

    Every change is at once written to a recovery file beside the rig file, which goes when the work is
    saved or given up; one that is found on opening was left by a crash, see `recovered`.
    """

    def __init__(self, path: Path, *, files_anywhere: bool = False) -> None:
        self.path, self._anywhere = path, files_anywhere
        self._saved = _read(path)
        self._line_end = "\r\n" if b"\r\n" in path.read_bytes() else "\n"
        self.recovered = self._recovery.exists()
        """True where unsaved work of an earlier session was found, and is what this draft holds."""
        self.stale = self.recovered and path.stat().st_mtime > self._recovery.stat().st_mtime
        """True where the rig file was changed after that work."""
        self._text = _read(self._recovery) if self.recovered else self._saved
        self._kept = self._text
        self.unkept = ""
        """Why unsaved work would not survive a crash; empty where it would."""
        self._history = [self._saved] if self.recovered else []
        try:
            self.rig = self._checked(self._text)
        except AuralizeError as error:
            if not self.recovered:
                raise
            raise RigError(
                f"{self._recovery}: this unsaved work cannot be read ({error}); move it away"
            ) from None

    @property
    def _recovery(self) -> Path:
        return self.path.with_name(RECOVERY.format(name=self.path.name))

    @property
    def unsaved(self) -> bool:
        """Whether the draft differs from the file."""
        return self._text != self._saved

    @property
    def text(self) -> str:
        """The rig file as it would be saved."""
        return self._text

    def value(self, choice: str, place: Sequence[str]) -> Any:
        """What stands at ``place`` for a choice, its own laid on the common one; None for nothing."""
        return _at(self.rig.of(self.rig.choices[choice]), place)

    def change(self, choice: str, place: Sequence[str], value: Any) -> Rig:
        """Set ``place`` for one choice alone (for all, in a rig without choices).

        Raises RigError and changes nothing where the rig would no longer read.
        """
        document = _document(self._text)
        whole = choice == ONLY_CHOICE and "choices" not in document
        way = [*place] if whole else ["choices", choice, *place]
        wanted = document.unwrap()
        _put(wanted, way, value, dict)
        _put(document, way, value, _inline_table)
        text = document.as_string()
        if not _says(text, wanted):  # an editor of text must never write something else
            raise RigError(f"{'.'.join(way)} cannot be changed here; change it in a text editor")
        return self._take(text, self._text)

    def undo(self) -> bool:
        """Take the last change back; False where there is none."""
        if not self._history:
            return False
        before = self._history.pop()
        self.rig = self._checked(before)
        self._text = before
        self._keep()
        return True

    def save(self) -> None:
        """Write the draft to the rig file; raises AuralizeError, and the draft stays.

        So it does where somebody else has written the file since it was read.
        """
        if self.path.exists() and _read(self.path) != self._saved:
            raise RigError(
                f"{self.path}: this file was changed elsewhere since it was opened; the work is kept in "
                f"{self._recovery.name}: open the bench anew to compare and write it"
            )
        write_text(self.path, self._text.replace("\n", self._line_end))
        self._saved = self._text
        self._keep()

    def give_up(self) -> None:
        """Go back to what is in the file."""
        self._history.clear()
        self._text = self._saved
        self.rig = self._checked(self._text)
        self._keep()

    def _take(self, text: str, before: str) -> Rig:
        self.rig = self._checked(text)
        self._history.append(before)
        self._text = text
        self._keep()
        return self.rig

    def _keep(self) -> None:
        """Write or remove the recovery file; where that fails, the work itself goes on."""
        self.unkept = ""
        try:
            if self._recovery.is_file() and _read(self._recovery) != self._kept:
                self.unkept = f"{self._recovery}: this file was written by somebody else meanwhile"
            elif self.unsaved:
                write_text(self._recovery, self._text, like=self.path)
                self._kept = self._text
            else:
                self._recovery.unlink(missing_ok=True)
        except (AuralizeError, OSError) as error:
            self.unkept = str(error)

    def _checked(self, text: str) -> Rig:
        return read_rig(_plain(text), self.path, files_anywhere=self._anywhere)


def _read(path: Path) -> str:
    try:
        return read_rig_text(path)
    except (OSError, UnicodeDecodeError) as error:
        reason = (getattr(error, "strerror", None) or "this is no text in UTF-8").lower()
        raise RigError(f"{path}: the rig file cannot be read: {reason}") from None


def _says(text: str, wanted: Mapping[str, Any]) -> bool:
    """Whether a text means this to all who read it, the next edit too."""
    try:
        return _plain(text) == wanted == _document(text).unwrap()
    except AuralizeError:
        return False


def _plain(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, or an integer beyond what Python reads
        raise RigError(f"this is no valid TOML: {error}") from None
    except RecursionError:
        raise RigError("this is no valid TOML: it is nested too deeply") from None


def _document(text: str) -> TOMLDocument:
    try:
        import tomlkit
    except ImportError:
        raise RequestError(
            "editing needs tomlkit, which is not installed; `pip install tomlkit` brings it"
        ) from None
    try:
        return tomlkit.parse(text)
    except tomlkit.exceptions.ParseError as error:
        raise RigError(f"this is no valid TOML: {error}") from None


def _put(table: Any, way: Sequence[str], value: Any, new_table: Callable[[], Any]) -> None:
    """Set the value at the end of ``way``, making tables that are missing."""
    for key in way[:-1]:
        if key not in table:
            table[key] = new_table()
        table = table[key]
    if isinstance(value, Mapping):
        inside = new_table()
        inside.update(value)
        value = inside
    table[way[-1]] = value


def _inline_table() -> Any:
    """On one line, so that it fits below any header and beside dotted keys."""
    import tomlkit

    return tomlkit.inline_table()


def _at(data: Mapping[str, Any], place: Sequence[str]) -> Any:
    inside: Any = data
    for key in place:
        inside = inside.get(key) if isinstance(inside, Mapping) else None
    return inside
