"""Text files that appear whole under their name, or not at all; and folders for them."""

from __future__ import annotations

import os
import secrets
from pathlib import Path
from typing import Self

from auralize.errors import FileError


def make_folder(path: Path) -> None:
    """Make a folder with its parents, if it is not there; raises FileError."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{path}: this folder cannot be made: {reason}") from None


def check_text(path: Path) -> None:
    """Raise FileError where `write_text` would; touch nothing."""
    if path.is_dir():
        raise FileError(f"{path}: this file cannot be written: is a directory")


def write_text(path: Path, text: str) -> None:
    """Write ``text`` in UTF-8: to a temporary name in the same folder, then renamed.

    Raises FileError with one sentence where that cannot be done.
    """
    write_bytes(path, text.encode(errors="backslashreplace"))


class StagedText:
    """A text file written aside by `stage`, which takes its name on leaving, or goes with an exception."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._temporary = path.parent / f".auralize-{secrets.token_hex(6)}.part"

    def __enter__(self) -> Self:
        return self

    def stage(self, text: str) -> None:
        """Write the text under a temporary name; raises FileError where that cannot be done."""
        write_text(self._temporary, text)

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            os.replace(self._temporary, self._path)
        else:
            self._temporary.unlink(missing_ok=True)


def write_bytes(path: Path, content: bytes) -> None:
    """The same for bytes."""
    temporary = path.parent / f".auralize-{secrets.token_hex(6)}.part"
    try:
        temporary.write_bytes(content)
        os.replace(temporary, path)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{path}: this file cannot be written: {reason}") from None
    finally:
        temporary.unlink(missing_ok=True)
