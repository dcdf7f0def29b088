"""Which of several benches on one rig file this is: a lock that ends with its process, however that ends."""

from __future__ import annotations

import hashlib
import os
import sys
import weakref
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Final

from auralize.errors import AuralizeError, RigError
from auralize.files import make_folder, state_folder

MOST: Final = 9
"""Benches at once on one rig."""
_HASH: Final = 16


class Seat:
    """A number from 1 that no other bench of this user on this machine has for the same rig file."""

    def __init__(self, number: int, others: tuple[int, ...], descriptor: int | None) -> None:
        self.number = number
        self.others = others
        """Processes of the benches that were there before; 0 for one that is not known."""
        self._release = None if descriptor is None else weakref.finalize(self, os.close, descriptor)

    def leave(self) -> None:
        """Let the next one have it."""
        if self._release is not None:
            self._release()


def take_seat(rig: Path, wanted: Callable[[int], bool]) -> Seat:
    """The first free seat that is ``wanted``, else the first free one; raises RigError where all are taken.

    Where no locks can be kept, nobody is known to be there.
    """
    try:
        folder = state_folder() / "benches"
        make_folder(folder)
    except AuralizeError:
        return Seat(1, (), None)
    name = hashlib.sha256(os.path.realpath(rig).encode(errors="surrogateescape")).hexdigest()
    free: dict[int, int] = {}
    others = []
    for number in range(1, MOST + 1):
        path = folder / f"{name[:_HASH]}-{number}.lock"
        if free and not (wanted(number) or path.exists()):
            continue
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        except OSError:
            continue
        if _locked(descriptor):
            free[number] = descriptor
        else:
            others.append(_process_in(descriptor))
            os.close(descriptor)
    if not free and others:
        raise RigError(f"{rig}: {MOST} benches are open on this rig; close one of them first")
    best = min(free, key=lambda number: (not wanted(number), number), default=1)
    for number, descriptor in free.items():
        if number != best:
            os.close(descriptor)
    mine = free.get(best)
    if mine is not None:
        with suppress(OSError):
            os.ftruncate(mine, 0)
            os.write(mine, str(os.getpid()).encode())
    return Seat(best, tuple(others), mine)


def _process_in(descriptor: int) -> int:
    with suppress(OSError, ValueError):
        return int(os.read(descriptor, 20))
    return 0


if sys.platform == "win32":
    import msvcrt

    def _locked(descriptor: int) -> bool:
        """Try to lock it; the system lets go of it with the process."""
        try:
            os.lseek(descriptor, 1 << 20, os.SEEK_SET)  # the number before it stays readable
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
            os.lseek(descriptor, 0, os.SEEK_SET)
        except OSError:
            os.lseek(descriptor, 0, os.SEEK_SET)
            return False
        return True

else:
    import fcntl

    def _locked(descriptor: int) -> bool:
        """Try to lock it; the system lets go of it with the process."""
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return False
        return True
