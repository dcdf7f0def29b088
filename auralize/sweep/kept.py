"""Finished cases of a long sweep, kept beside its result until that is whole: a killed one goes on there."""

from __future__ import annotations

import glob
import io
import shutil
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from auralize.files import make_folder, write_bytes

Arrays = Mapping[str, NDArray[Any]]
_UNUSABLE: Final = (OSError, ValueError, EOFError, KeyError, zipfile.BadZipFile)


class KeptChunks:
    """A hidden folder beside the ``result`` of a call, with a file for each chunk of cases that is done.

    ``call`` is the fingerprint of all that the values follow from. Several processes may do the same call
    at once: what they keep is the same.
    """

    def __init__(self, result: Path, call: str) -> None:
        self._result = result
        self._folder = result.parent / f"{_beginning(result)}{call}{_END}"

    @property
    def of_others(self) -> bool:
        """Whether there are chunks of a call with the same result that differed in anything else."""
        return any(path != self._folder for path in self._all())

    def taken(self, number: int) -> Arrays | None:
        """The arrays of a chunk, None where it is not there, or not whole."""
        with suppress(*_UNUSABLE), self._file(number).open("rb") as file, np.load(file) as found:
            return {name: found[name] for name in found.files}
        return None

    def keep(self, number: int, arrays: Arrays) -> None:
        """Put a chunk on the disk, whole or not at all; raises FileError."""
        written = io.BytesIO()
        np.savez(written, **arrays)  # type: ignore[arg-type]  # names of ours are no options
        make_folder(self._folder)
        write_bytes(self._file(number), written.getvalue())

    def remove(self) -> None:
        """All that was kept for this result, by whatever call."""
        for path in self._all():
            shutil.rmtree(path, ignore_errors=True)

    def _all(self) -> list[Path]:
        return list(self._result.parent.glob(f"{glob.escape(_beginning(self._result))}*{_END}"))

    def _file(self, number: int) -> Path:
        return self._folder / f"{number}.npz"


_END: Final = ".kept"


def _beginning(result: Path) -> str:
    return f".auralize-{result.name}-"
