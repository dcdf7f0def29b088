"""Whose a file is: what auralize wrote itself bears a mark, and no other is replaced unless asked.

A mark has two hashes: of the call that made the file (rig, source, all options), and of what is in it. So
a file that somebody changed is no longer ours, and a result makes way only for what the same call makes
again. Texts and pictures bear it inside, as their format has it; a sound file, or a table of
comma-separated values, in the JSON beside it.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import re
import struct
import zlib
from collections.abc import Collection, Iterable, Iterator
from contextlib import contextmanager, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final

from auralize.errors import FileError
from auralize.files import check_text, encoded, make_folder, read_bounded

VERSION: Final = "0.1.0"
"""Of auralize."""
_BESIDE: Final = {".wav": "sound", ".flac": "sound", ".csv": "table"}
"""Endings of files that have their mark beside them, and what they are."""
LONGEST_PART: Final = 100
"""Bytes of a list of names in the name of a file."""
_MOST_BYTES: Final = 100_000_000
"""No text or picture of ours is larger."""
_NO_MARK: Final = (OSError, ValueError, LookupError, TypeError, RecursionError)
"""What comes of asking a file for a mark that was not made to bear one."""
_HASH: Final = 16
"""Hexadecimal digits, 64 bit: they tell apart what happens to be there, and hinder no forger."""
_SUMMED_AT_ONCE: Final = 1 << 18
"""Bytes: so many stay in the second cache."""
_MARK: Final = re.compile(rb"auralize ([0-9a-f]{16}) [0-9a-f]{16}")
_DRESS: Final = {
    ".txt": (b"# ", b"\n"),
    ".toml": (b"# ", b"\n"),
    ".svg": (b"<!-- ", b" -->\n"),
    ".pdf": (b"% ", b"\n"),
    ".dsp": (b"// ", b"\n"),
    ".json": (b',\n  "mark": "', b'"'),
}
"""What stands before and after the mark, which is a comment or, in JSON, the last key of all."""
_BEFORE: Final = {".json": len(b"\n}\n"), ".png": 12}
"""Bytes that stay behind the mark: the brace that closes, the chunk IEND."""


class InTheWayError(FileError):
    """A file is there that is not to be replaced unasked."""


def fingerprint(*said: Any) -> str:
    """A hash of values that JSON can tell, equal where they are."""
    return _hash(json.dumps(said, sort_keys=True, default=str).encode())


def origin(day: str | None = None) -> str:
    """What made a file, and on which ``day``."""
    return f"auralize {VERSION}, {day or today()}"


def today() -> str:
    """In UTC, or as ``SOURCE_DATE_EPOCH`` has it (reproducible-builds.org)."""
    told = os.environ.get("SOURCE_DATE_EPOCH", "")
    now = datetime.fromtimestamp(int(told), UTC) if told.isdecimal() else datetime.now(UTC)
    return f"{now:%Y-%m-%d}"


def file_name(parts: Iterable[str], suffix: str) -> str:
    """The name of a result: what it is, point by point; parts that say nothing are left out."""
    return re.sub(r"[/\\]", "-", ".".join(part for part in parts if part)) + suffix


def among(names: Collection[str], every: Collection[str]) -> str:
    """Which of all there are, as a part of a file's name: nothing for all of them."""
    if set(names) == set(every):
        return ""
    words = "+".join(names)
    if len(words.encode()) > LONGEST_PART:
        return f"{len(names)}-choices-{fingerprint(*names)[:6]}"
    return words


def sidecar(path: Path) -> Path:
    """Where the facts of a sound file or table stand: beside it, ``.json`` added to its whole name."""
    return path.with_name(path.name + ".json")


# --- marks ----------------------------------------------------------------------------------------


def marked(content: bytes, suffix: str, call: str) -> bytes:
    """What is to be written, with the mark of the call that made it."""
    mark = _dressed(f"auralize {call} {_hash(content)}".encode(), suffix)
    at = len(content) - _BEFORE.get(suffix, 0)
    return content[:at] + mark + content[at:]


def facts_beside(
    sha256: str, facts: dict[str, Any], call: str, kind: str = "sound", day: str | None = None
) -> bytes:
    """The JSON beside a sound or a table of that `sha256_of`. ``day`` is as in `origin`."""
    facts = {**facts, "made_by": origin(day), f"{kind}_sha256": sha256}
    return marked(encoded(json.dumps(facts, indent=2, ensure_ascii=False) + "\n"), ".json", call)


def sha256_of(path: Path) -> str:
    """Hexadecimal SHA-256 of a file, read in pieces; raises FileError."""
    try:
        return GrowingSum(path).whole()
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise FileError(f"{path} cannot be read: {reason}") from None


class GrowingSum:
    """The SHA-256 of a file that is written from its beginning on, found while it grows; raises OSError.

    What is summed up meanwhile need not stay in the memory that the system has for files: of hours it would
    fill that, and memory new to it costs more than used one (6 h of stereo: a fifth of the time, measured).
    """

    def __init__(self, path: Path) -> None:
        self._path, self._sum, self._summed = path, hashlib.sha256(), 0

    def up_to(self, end: float) -> None:
        """Take the bytes before ``end``, as far as there are any."""
        piece = memoryview(bytearray(_SUMMED_AT_ONCE))
        with self._path.open("rb", buffering=0) as file:
            file.seek(self._summed)
            while self._summed < end:
                count = file.readinto(piece[: int(min(len(piece), end - self._summed))])
                if not count:
                    return  # all of it: who reads it next does so from memory
                self._sum.update(piece[:count])
                self._summed += count
            if hasattr(os, "posix_fadvise"):  # what is not on disk yet stays
                os.posix_fadvise(file.fileno(), 0, self._summed, os.POSIX_FADV_DONTNEED)

    def whole(self) -> str:
        """In hexadecimal digits, of all of the file."""
        self.up_to(math.inf)
        return self._sum.hexdigest()


def check_ours(path: Path, call: str, replace: bool) -> None:
    """Raise FileError for a file that is there, unless it is as the same call left it, or may be replaced.

    Where there is a JSON beside it this is asked of that, too. What is no file, or is write-protected, is
    refused in any case.
    """
    check_text(path)
    if path.is_symlink():  # what it leads to may be anything, a rig that is read among it
        raise InTheWayError(f"{path}: this is a link, and stays; remove it, or name another folder")
    beside = [sidecar(path)] if path.suffix.lower() in _BESIDE else []
    made = made_by(path) if os.path.lexists(path) else call
    if replace or made == call:
        for facts in beside:
            check_ours(facts, call, replace)
        return
    found = (
        "this file is there, and auralize did not write it, or it was changed since"
        if made is None
        else "this file is there, and was made from another rig, from another source, or with other options"
    )
    raise InTheWayError(f"{path}: {found}; --replace replaces it, --into names another folder")


def made_by(path: Path) -> str | None:
    """The call that made a file, None where it is not as we left it."""
    with suppress(*_NO_MARK):
        kind = _BESIDE.get(path.suffix.lower())
        if kind is None:
            return _call_in(read_bounded(path, _MOST_BYTES), path.suffix.lower())
        content = read_bounded(sidecar(path), _MOST_BYTES)
        if json.loads(content)[f"{kind}_sha256"] == sha256_of(path):
            return _call_in(content, ".json")
    return None


def _call_in(content: bytes, suffix: str) -> str | None:
    *_, last = [None, *_MARK.finditer(content)]
    if last is None:
        return None
    dressed, call = _dressed(last[0], suffix), last[1].decode()
    at = content.rfind(dressed)
    bare = content[:at] + content[at + len(dressed) :]
    return call if at >= 0 and marked(bare, suffix, call) == content else None


def _dressed(mark: bytes, suffix: str) -> bytes:
    if (
        suffix == ".png"
    ):  # a chunk of text, keyword and value (W3C, Portable Network Graphics, tEXt)
        chunk = b"tEXtMark\0" + mark
        return struct.pack(">I", len(chunk) - 4) + chunk + struct.pack(">I", zlib.crc32(chunk))
    before, after = _DRESS[suffix]
    return before + mark + after


def _hash(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:_HASH]


def is_result(sound: Path) -> bool:
    """Whether a sound file has facts beside it that say what it was made from."""
    with suppress(*_NO_MARK):
        content = read_bounded(sidecar(sound), _MOST_BYTES)
        return _call_in(content, ".json") is not None and "source" in json.loads(content)
    return False


# --- folders --------------------------------------------------------------------------------------


@contextmanager
def made_folder(folder: Path) -> Iterator[None]:
    """``folder`` and the parents that it lacks; what was made goes again if nothing comes of it."""
    missing = [path for path in (folder, *folder.parents) if not os.path.lexists(path)]
    try:
        if missing:
            make_folder(folder)
        yield
    finally:
        for path in missing:  # innermost first
            with suppress(OSError):  # there is something in it, or it is not there after all
                path.rmdir()
