"""Files that appear whole under their name, or not at all; and folders for them."""

from __future__ import annotations

import errno
import os
import secrets
import stat
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final, Self

from auralize.errors import FileError

USUAL_MODE: Final = 0o666
"""What a new file may be used for, less the user's umask."""
PRIVATE_MODE: Final = 0o600
"""What stands in for an existing file is for its owner alone until it has that file's own mode."""


class StagedFile:
    """A file written aside as `temporary`, which takes its name by `commit`, or goes by `discard`.

    As a context manager it does either on leaving. The name may be a link: that stays, and what it
    leads to is replaced. An existing file's mode and owner are kept (the owner as far as the user may).
    A file that repeats what is in ``like`` is open to those who may use that one, to no others. Methods
    raise OSError, and leave no temporary file then.
    """

    def __init__(self, path: Path | str, like: Path | None = None) -> None:
        self.goal = Path(os.path.realpath(path))
        self.temporary = self.goal.parent / f".auralize-{secrets.token_hex(6)}.part"
        self.replaced = False
        """Whether the name was that of an earlier file; known after `commit`."""
        self._like = like

    def open(self) -> None:
        """Make the temporary file, empty."""
        check_replaceable(self.goal)
        mode = USUAL_MODE if self._model() is None else PRIVATE_MODE
        os.close(os.open(self.temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode))

    def commit(self) -> None:
        """Put it on the disk, then under its name, at one stroke."""
        try:
            with self.temporary.open("rb+") as file:
                os.fsync(file.fileno())
            if (model := self._model()) is not None:
                self._take_after(model)
            self.replaced = self.goal.exists()
            os.replace(self.temporary, self.goal)
        except BaseException:
            self.discard()
            raise
        _sync_folder(self.goal.parent)

    def discard(self) -> None:
        """Leave nothing behind."""
        with suppress(OSError):
            self.temporary.unlink()

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self.commit()
        else:
            self.discard()

    def _model(self) -> os.stat_result | None:
        """Of the file whose mode and owner this one gets; None for a new one that is like no other."""
        for path in (self._like, self.goal):
            if path is not None and path.exists():
                return path.stat()
        return None

    def _take_after(self, model: os.stat_result) -> None:
        made = self.temporary.stat()
        if (model.st_uid, model.st_gid) != (made.st_uid, made.st_gid):
            with suppress(OSError, AttributeError):  # only the superuser may give files away
                os.chown(self.temporary, model.st_uid, model.st_gid)
        own = stat.S_IMODE(model.st_mode)
        # What is like a write-protected file must itself be replaced the next time.
        os.chmod(self.temporary, own if self._like is None else own | stat.S_IWUSR)


class StagedText:
    """A text file written aside by `stage`, which takes its name on leaving, or goes with an exception."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._staged = StagedFile(path)

    def __enter__(self) -> Self:
        with _told(self._path):
            self._staged.open()
        return self

    def stage(self, text: str) -> None:
        """Write the text under a temporary name; raises FileError where that cannot be done."""
        with _told(self._path):
            self._staged.temporary.write_bytes(_encoded(text))

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        with _told(self._path):
            self._staged.__exit__(kind, *rest)


def write_text(path: Path, text: str, like: Path | None = None) -> None:
    """Write ``text`` in UTF-8 as `StagedFile` says. Raises FileError with one sentence."""
    write_bytes(path, _encoded(text), like)


def write_bytes(path: Path, content: bytes, like: Path | None = None) -> None:
    """The same for bytes."""
    with _told(path), StagedFile(path, like) as staged:
        staged.temporary.write_bytes(content)


def check_text(path: Path) -> None:
    """Raise FileError where `write_text` cannot replace what has that name; touch nothing."""
    with _told(path):
        check_replaceable(path)


def check_replaceable(path: Path) -> None:
    """Raise OSError for what is no file, or is write-protected."""
    if path.is_dir():
        raise IsADirectoryError(errno.EISDIR, "is a directory")
    if path.exists() and not path.is_file():
        raise OSError(errno.EINVAL, "is a pipe or a device")
    if path.exists() and not os.access(path, os.W_OK):
        raise PermissionError(errno.EACCES, "is write-protected")


def make_folder(path: Path) -> None:
    """Make a folder with its parents, if it is not there; raises FileError."""
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{path}: this folder cannot be made: {_reason(error)}") from None


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise FileError(f"{path}: this file cannot be written: {_reason(error)}") from None


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def _encoded(text: str) -> bytes:
    return text.encode(errors="backslashreplace")


def _sync_folder(path: Path) -> None:
    """Put the new name on the disk too, where the system lets a folder be opened for that."""
    with suppress(OSError):
        descriptor = os.open(path, os.O_RDONLY)
        try:
            os.fsync(descriptor)
        finally:
            os.close(descriptor)


def read_bounded(path: Path, most: int) -> bytes:
    """All of an ordinary file of at most ``most`` bytes; raises OSError at once for anything else."""
    try:
        descriptor = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))  # pipes would wait
    except ValueError:
        raise OSError(errno.EINVAL, "its name cannot be one") from None
    with open(descriptor, "rb") as file:
        mode = os.fstat(descriptor).st_mode
        if stat.S_ISDIR(mode):
            raise IsADirectoryError(errno.EISDIR, "is a directory")
        if not stat.S_ISREG(mode):
            raise OSError(errno.EINVAL, "is a pipe or a device; right is a file on disk")
        content = file.read(most + 1)
    if len(content) > most:
        raise OSError(errno.EFBIG, f"it has more than {most} bytes, which no such file needs")
    return content
