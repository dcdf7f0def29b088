"""Whether there is room for sound files, on the disks they go to and among the files a program may open."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from auralize.errors import AudioFileError

OTHER_FILES: Final = 24
"""Open files besides those of sound: the terminal's, the source, libraries loaded while we run."""
OPEN_FILES: Final = Path("/proc/self/fd")
"""Where Linux lists them."""


def check_disk(paths: Sequence[Path], needed: int) -> None:
    """Raise AudioFileError where a disk has no room for those of the files, ``needed`` bytes each,
    that go to it."""
    disks: dict[int, list[Path]] = {}
    for path in paths:
        disks.setdefault(_folder(path).stat().st_dev, []).append(path)
    for there in disks.values():
        free = shutil.disk_usage(_folder(there[0])).free
        if len(there) * needed > free:
            others = f" and {len(there) - 1} more" if there[1:] else ""
            raise AudioFileError(
                f"{there[0]}{others} cannot be written: {'they need' if others else 'it needs'} "
                f"{len(there) * needed / 1e6:.1f} MB and the disk has {free / 1e6:.1f} MB left"
            )


def check_open_files(count: int) -> None:
    """Raise AudioFileError where the system does not let ``count`` more files be open at once."""
    try:
        import resource
    except ImportError:  # a system without such a limit
        return
    limit = resource.getrlimit(resource.RLIMIT_NOFILE)[0]
    there = len(os.listdir(OPEN_FILES)) if OPEN_FILES.is_dir() else 0
    if limit != resource.RLIM_INFINITY and there + count + OTHER_FILES > limit:
        raise AudioFileError(
            f"{count} results would be written at once, and the system lets a program open {limit} files "
            "in all; render fewer choices at once, or raise the limit (ulimit -n)"
        )


def _folder(path: Path) -> Path:
    return Path(os.path.realpath(path)).parent
