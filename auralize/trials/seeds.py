"""The seed of a session that runs, kept until its end so that it can be gone on with if it is cut off.

It is kept as two shares: a random pad, and the seed XOR that pad. Each alone is random bytes and tells
nothing; the log's folder has one, the user's state folder the other, under the session's commitment. So
no single file shows the order. Whoever may read both folders, and sets out to, can still rebuild it.
"""

from __future__ import annotations

import os
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Final

from auralize.files import PRIVATE_MODE, read_bounded, state_folder
from auralize.trials.log import read_log
from auralize.trials.plan import SEED_BYTES, TrialError, is_hex

PRIVATE_FOLDER: Final = 0o700
"""For its owner alone."""
_SHARE: Final = ".share"


def share_beside(log_path: Path) -> Path:
    """Where one share is: a hidden file beside the log."""
    return log_path.with_name(f".{log_path.name}{_SHARE}")


def share_apart(committed: str) -> Path:
    """Where the other one is: in the user's state folder, under the commitment of its session."""
    return state_folder() / f"{committed}{_SHARE}"


def keep_seed(log_path: Path, committed: str, seed: bytes) -> str:
    """Keep both shares, on the disk when this returns; a sentence where there is no place for them.

    Raises TrialError where the one beside the log cannot be written.
    """
    apart, pad = share_apart(committed), secrets.token_bytes(SEED_BYTES)
    try:
        apart.parent.mkdir(PRIVATE_FOLDER, parents=True, exist_ok=True)
        apart.parent.chmod(PRIVATE_FOLDER)  # where volumes were remembered before
        _write(apart, pad)
    except OSError as error:
        return (
            "if this session is cut off, it cannot be gone on with: half of its seed cannot be kept in "
            f"{apart.parent}: {_reason(error)}"
        )
    try:
        _write(share_beside(log_path), _xor(seed, pad))
    except OSError as error:
        remove_seed(log_path, committed)
        raise TrialError(
            f"{share_beside(log_path)}: this cannot be written: {_reason(error)}"
        ) from None
    return ""


def _write(path: Path, share: bytes) -> None:
    """Write a share for its owner alone, whole or not at all; raises OSError."""
    path.unlink(missing_ok=True)  # its log is gone: a new one has just been made
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, PRIVATE_MODE)
    try:
        with open(descriptor, "wb") as file:
            file.write(share.hex().encode())
            file.flush()
            os.fsync(descriptor)
    except OSError:
        path.unlink(missing_ok=True)
        raise


def remove_seed(log_path: Path, committed: str) -> None:
    """Delete both shares of a session that is over; where that fails, its seed is in the log anyway."""
    for share in (share_apart(committed), share_beside(log_path)):
        with suppress(OSError):
            share.unlink(missing_ok=True)


def sweep_seeds(folder: Path) -> None:
    """Delete what was left beside the logs of a folder by sessions that were cut off at their very end."""
    for share in folder.glob(f".*{_SHARE}"):
        log_path = share.with_name(share.name[1:].removesuffix(_SHARE))
        with suppress(OSError, TrialError):
            if log_path.is_file() and (reading := read_log(log_path)).closing is not None:
                remove_seed(log_path, reading.commitment)


def read_seed(log_path: Path, committed: str) -> bytes:
    """The seed that was kept; raises TrialError where a share is gone, unreadable or none."""
    if log_path.with_name(f".{log_path.name}.seed").exists():
        raise TrialError(
            f"{log_path}: this session cannot be resumed: an earlier version began it, and kept its seed "
            "where it could be read"
        )
    return _xor(_read(log_path, share_beside(log_path)), _read(log_path, share_apart(committed)))


def _read(log_path: Path, share: Path) -> bytes:
    try:
        text = read_bounded(share, 2 * SEED_BYTES).decode("ascii", "replace")
    except FileNotFoundError:
        raise TrialError(
            f"{log_path}: this session cannot be resumed: half of its seed, {share}, is gone"
        ) from None
    except OSError as error:
        raise TrialError(f"{share}: this cannot be read: {_reason(error)}") from None
    if not is_hex(text, 2 * SEED_BYTES):
        raise TrialError(f"{share}: half a seed, {2 * SEED_BYTES} hexadecimal digits, is expected")
    return bytes.fromhex(text)


def _xor(one: bytes, other: bytes) -> bytes:
    return bytes(a ^ b for a, b in zip(one, other, strict=True))


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
