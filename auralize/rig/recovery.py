"""Unsaved work, kept beside the rig file it was made from until it is saved or given up."""

from __future__ import annotations

import hashlib
import os
import re
from pathlib import Path
from typing import Final

from auralize.errors import AuralizeError, RigError
from auralize.files import write_text
from auralize.rig.reading import read_rig_text
from auralize.rig.seat import take_seat

RECOVERY: Final = "{name}.unsaved"
"""Name beside the rig file under which unsaved work is kept; of a second bench with ``-2`` behind."""
_BASE: Final = re.compile(r"\n# made from ([0-9a-f]+)\n\Z")
"""The last line of unsaved work: a hash of the rig file that it was made from."""
_HASH: Final = 16
_UNKNOWN: Final = "0"


class Recovery:
    """The recovery file of one bench on a rig; of work that another bench has open it knows nothing."""

    def __init__(self, rig: Path) -> None:
        self._rig = rig
        self._seat = take_seat(rig, lambda number: os.path.exists(recovery_path(rig, number)))
        self.found = os.path.exists(self.path)  # and not where the name would be too long
        """Whether unsaved work of an earlier session was there."""
        self._kept = read_text(self.path) if self.found else ""
        base = _BASE.search(self._kept)
        self.text = self._kept[: base.start()] if base else self._kept
        self._base = base[1] if base else None

    @property
    def path(self) -> Path:
        return recovery_path(self._rig, self._seat.number)

    @property
    def others(self) -> tuple[int, ...]:
        """Processes of the benches that were open on the rig before."""
        return self._seat.others

    def stale(self, rig_text: str) -> bool:
        """Whether what was found was made from another rig file than this."""
        if not self.found or self._base is not None:
            return self.found and self._base != _hash(rig_text)
        return self._rig.stat().st_mtime > self.path.stat().st_mtime

    def keep(self, text: str, base: str | None) -> str:
        """Keep unsaved work on a rig file that read ``base``; why it would not survive a crash, if so."""
        said = _UNKNOWN if base is None else _hash(base)
        kept = f"{text}\n# made from {said}\n"
        try:
            if self._is_another():
                return f"{self.path}: this file was written by somebody else meanwhile"
            write_text(self.path, kept, like=self._rig)
        except (AuralizeError, OSError) as error:
            return str(error)
        self._kept = kept
        return ""

    def clear(self) -> str:
        """There is no unsaved work any more; what is the matter with the file, if something is."""
        try:
            if self._is_another():
                return f"{self.path}: this file was written by somebody else meanwhile"
            self.path.unlink(missing_ok=True)
        except (AuralizeError, OSError) as error:
            return str(error)
        return ""

    def leave(self) -> None:
        """Let go of the rig; what is kept stays, and is found by the next bench."""
        self._seat.leave()

    def _is_another(self) -> bool:
        return self.path.is_file() and read_text(self.path) != self._kept


def read_text(path: Path) -> str:
    """A rig file's text; raises RigError."""
    try:
        return read_rig_text(path)
    except (OSError, UnicodeDecodeError) as error:
        reason = (getattr(error, "strerror", None) or "this is no text in UTF-8").lower()
        raise RigError(f"{path}: the rig file cannot be read: {reason}") from None


def recovery_path(rig: Path, number: int = 1) -> Path:
    """Where the unsaved work of the first bench on a rig, or of another, is kept."""
    name = RECOVERY.format(name=rig.name)
    return rig.with_name(name if number == 1 else f"{name}-{number}")


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()[:_HASH]
