"""Names for what stands in for a file or a folder until it is whole, and the end of what was left behind."""

from __future__ import annotations

import glob
import os
import platform
import shutil
import zlib
from contextlib import suppress
from pathlib import Path
from typing import Final

OURS: Final = f".auralize-{zlib.crc32(platform.node().encode(errors='replace')):08x}-"
"""How our temporary files begin: a folder may be shared by machines, whose processes have like numbers."""


def temporary_beside(path: Path) -> Path:
    """A name of our own for what stands in for a file: it tells whose it is, should we not end well."""
    return path.parent / f"{OURS}{os.getpid()}-{os.urandom(6).hex()}.part"


def sweep(folder: Path) -> None:
    """Remove temporary files and folders of programs that did not: killed, or ended by loss of power."""
    with suppress(OSError):
        for path in folder.glob(f"{glob.escape(OURS)}*-*.part"):
            if is_left(path):
                with suppress(OSError):
                    shutil.rmtree(path) if path.is_dir() else path.unlink()


def is_left(path: Path) -> bool:
    """Whether that is a temporary name of ours, of a program that has ended."""
    if os.name != "posix":  # where asking for a process by its number would end it
        return False
    number = path.name.removeprefix(OURS).partition("-")[0]
    return path.name.startswith(OURS) and number.isdecimal() and not _runs(int(number))


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except (ProcessLookupError, OverflowError):
        return False
    except OSError:
        return True  # somebody else's
    return True
