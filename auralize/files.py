"""Files that appear whole under their name, or not at all; and folders for them."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import stat
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Final, Self

from auralize.errors import FileError
from auralize.temporaries import sweep, temporary_beside

USUAL_MODE: Final = 0o666
"""What a new file may be used for, less the user's umask."""
PRIVATE_MODE: Final = 0o600
"""What stands in for an existing file is for its owner alone until it has that file's own mode."""

STOPPING: Final = tuple(
    getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)
)
"""Signals that end a program in good order."""


class StagedFile:
    """A file written aside as `temporary`, which takes its name by `commit`, or goes by `discard`.

    As a context manager it does either on leaving. The name may be a link: that stays, and what it
    leads to is replaced. An existing file's mode and owner are kept (the owner as far as the user may).
    A file that repeats what is in ``like`` is open to those who may use that one, to no others. Methods
    raise OSError, and leave no temporary file then.
    """

    def __init__(self, path: Path | str, like: Path | None = None) -> None:
        self.path = Path(path)
        self.goal = Path(os.path.realpath(path))
        self.temporary = temporary_beside(self.goal)
        self.replaced = False
        """Whether the name was that of an earlier file; known after `commit`."""
        self._like = like
        self._settled = False

    def open(self) -> None:
        """Make the temporary file, empty."""
        check_replaceable(self.goal)
        sweep(self.goal.parent)
        mode = USUAL_MODE if self._model() is None else PRIVATE_MODE
        try:
            os.close(os.open(self.temporary, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode))
        except BaseException:  # Ctrl-C before anybody could know that there is something to discard
            self.discard()
            raise

    def commit(self) -> None:
        """Put it on the disk, then under its name, at one stroke."""
        commit_all([self])

    def sync(self) -> None:
        """Put what it holds on the disk."""
        with self.temporary.open("rb+") as file:
            os.fsync(file.fileno())

    def prepare(self) -> None:
        """Put it on the disk, with the rights it will have."""
        self.sync()
        if (model := self._model()) is not None:
            self._take_after(model)

    def take_name(self) -> None:
        """Put what was prepared under its name."""
        self.replaced = self.goal.exists()
        os.replace(self.temporary, self.goal)
        self._settled = True

    def take_back(self, earlier: Path | None) -> None:
        """Give the name back to the earlier file, or to none; what is kept of that then goes."""
        with suppress(OSError):
            if not self._settled and earlier is not None:
                earlier.unlink()
            elif self._settled and earlier is not None:
                os.replace(earlier, self.goal)
            elif self._settled:
                self.goal.unlink()

    def discard(self) -> None:
        """Leave nothing behind; once it has its name, it stays."""
        if not self._settled:
            with suppress(OSError):
                self.temporary.unlink()

    def __enter__(self) -> Self:
        self.open()
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is not None:
            self.discard()
        elif not self._settled:
            self.commit()

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


def commit_all(files: Sequence[StagedFile]) -> None:
    """Put all of them under their names, or none: what goes wrong half way is taken back.

    Signals that would stop the program wait until it is done. Raises OSError with the `path` that it
    was about as its filename.
    """
    done: list[tuple[StagedFile, Path | None]] = []
    try:
        for file in files:
            with _about(file):
                file.prepare()
        with signals_held():
            try:
                for at, file in enumerate(files, start=1):
                    with _about(file):
                        # The last needs no way back: nothing comes after it.
                        earlier = _kept(file.goal) if at < len(files) else None
                        done.append((file, earlier))
                        file.take_name()
            except BaseException:
                for file, earlier in reversed(done):
                    file.take_back(earlier)
                raise
            for _, earlier in done:
                if earlier is not None:
                    earlier.unlink(missing_ok=True)
    except BaseException:
        for file in files:
            file.discard()
        raise
    for folder in {file.goal.parent for file in files}:
        sync_folder(folder)


@contextmanager
def _about(file: StagedFile) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        error.filename, error.filename2 = os.fspath(file.path), None
        raise


def _kept(path: Path) -> Path | None:
    """A second name for what is there, to come back to; a copy where there are no second names."""
    if not path.exists():
        return None
    second = temporary_beside(path)
    try:
        os.link(path, second)
    except OSError:
        try:
            shutil.copy2(path, second)
        except OSError:
            second.unlink(missing_ok=True)
            raise
    return second


@contextmanager
def signals_held() -> Iterator[None]:
    """Let no signal that stops the program come in between; those that did come then come after."""
    if threading.current_thread() is not threading.main_thread():
        yield  # it is the main thread that signals stop
        return
    came: list[int] = []
    before = {number: signal.getsignal(number) for number in STOPPING}
    held = {number: handler for number, handler in before.items() if callable(handler)}
    default = {number for number, handler in before.items() if handler == signal.SIG_DFL}
    try:
        for number in (*held, *default):
            signal.signal(number, lambda number, _: came.append(number))
        yield
    finally:
        for number in (*held, *default):
            signal.signal(number, before[number])
        for number in came[:1]:
            signal.raise_signal(number)


class StagedText:
    """A text file written aside by `stage`, which takes its name on leaving, or goes with an exception."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self.staged = StagedFile(path)

    def __enter__(self) -> Self:
        with _told(self._path):
            self.staged.open()
        return self

    def stage(self, content: bytes) -> None:
        """Write it under a temporary name; raises FileError where that cannot be done."""
        with _told(self._path):
            self.staged.temporary.write_bytes(content)

    def __exit__(self, kind: type[BaseException] | None, *rest: object) -> None:
        with _told(self._path):
            self.staged.__exit__(kind, *rest)


def write_text(path: Path, text: str, like: Path | None = None) -> None:
    """Write ``text`` in UTF-8 as `StagedFile` says. Raises FileError with one sentence."""
    write_bytes(path, encoded(text), like)


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


def state_folder() -> Path:
    """Where what is remembered is kept; a place where nothing can be, where no home is known."""
    import platformdirs  # only few commands need it

    with suppress(RuntimeError):
        folder = platformdirs.user_state_path("auralize", appauthor=False)
        if folder.is_absolute():  # else it begins with "~", says an older platformdirs
            return folder
    return Path(os.devnull, "no home is known")


def commit_set(files: Sequence[StagedFile]) -> None:
    """`commit_all`, which raises FileError with one sentence."""
    try:
        commit_all(files)
    except OSError as error:
        raise FileError(
            f"{error.filename}: this file cannot be written: {_reason(error)}"
        ) from None


@contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise FileError(f"{path}: this file cannot be written: {_reason(error)}") from None


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()


def encoded(text: str) -> bytes:
    """In UTF-8; what is no text in a name is escaped."""
    return text.encode(errors="backslashreplace")


def sync_folder(path: Path) -> None:
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
