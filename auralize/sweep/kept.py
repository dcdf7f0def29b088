"""Finished cases of a long sweep, kept beside its result until that is whole: a killed one goes on there."""

from __future__ import annotations

import glob
import io
import shutil
import zipfile
from collections.abc import Collection, Mapping
from contextlib import suppress
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final, Self

import numpy as np
from numpy.typing import NDArray

from auralize.errors import AuralizeError, FileError
from auralize.files import make_folder, write_bytes
from auralize.outputs import fingerprint

Arrays = Mapping[str, NDArray[Any]]
_UNUSABLE: Final = (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile)


class KeptChunks:
    """A hidden folder beside a ``result``, with a file for each chunk of cases that is done.

    What is there is taken up by the same ``call`` of the same version of auralize alone. Several processes
    may do that at once: what they keep is the same. What is not ``lasting`` is kept in memory.

    As a context manager it is removed on leaving, whatever call it was of, unless the program is stopped, or
    an OSError says that the machine failed (a full disk, workers that are lost), and not what was asked.
    """

    def __init__(self, result: Path, call: Any, lasting: bool = True) -> None:
        self.result = result
        call = fingerprint(call, version("auralize"))
        self._folder = result.parent / f"{_beginning(result)}{call}{_END}"
        self._lasting = lasting
        self._here: dict[int, Arrays] = {}

    @property
    def of_others(self) -> bool:
        """Whether there are chunks of a call with the same result that differed in anything else."""
        return any(path != self._folder for path in self._all())

    def has(self, number: int) -> bool:
        """Whether a chunk is there."""
        return number in self._here or self._file(number).is_file()

    def taken(self, number: int, names: Collection[str]) -> Arrays | None:
        """Some arrays of a chunk, None where it is not there, or not whole."""
        if number in self._here:
            return self._here[number]
        with suppress(*_UNUSABLE), self._file(number).open("rb") as file, np.load(file) as found:
            return {name: found[name] for name in names}
        return None

    def keep(self, number: int, arrays: Arrays) -> None:
        """Put a chunk on the disk, whole or not at all; raises FileError."""
        if not self._lasting:
            self._here[number] = arrays
            return
        written = io.BytesIO()
        np.savez(written, **arrays)  # type: ignore[arg-type]  # names of ours are no options
        try:
            make_folder(self._folder)
            write_bytes(self._file(number), written.getvalue())
        except FileError:  # another process, being done, may just have removed the folder
            make_folder(self._folder)
            write_bytes(self._file(number), written.getvalue())

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, *_: object
    ) -> None:
        if not isinstance(error, KeyboardInterrupt | OSError):
            for path in self._all():
                shutil.rmtree(path, ignore_errors=True)
            return
        with suppress(OSError):  # where something is kept
            self._folder.rmdir()
        if self._folder.is_dir() and isinstance(error, KeyboardInterrupt | AuralizeError):
            before = f"{error}; " if str(error) else ""
            raise type(error)(
                f"{before}what is done is kept in {self._folder}, and the same call goes on there"
            ) from None

    def _all(self) -> list[Path]:
        return list(self.result.parent.glob(f"{glob.escape(_beginning(self.result))}*{_END}"))

    def _file(self, number: int) -> Path:
        return self._folder / f"{number}.npz"


_END: Final = ".kept"


def _beginning(result: Path) -> str:
    """Of the folder's name: a hash, as the result's own may be as long as names can be."""
    return f".auralize-{fingerprint(result.name)}-"
