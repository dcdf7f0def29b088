"""Text files that appear whole under their name, or not at all."""

from __future__ import annotations

import os
import secrets
from pathlib import Path

from auralize.errors import AuralizeError


def write_text(path: Path, text: str) -> None:
    """Write ``text`` in UTF-8: to a temporary name in the same folder, then renamed.

    Raises AuralizeError with one sentence where that cannot be done.
    """
    write_bytes(path, text.encode())


def write_bytes(path: Path, content: bytes) -> None:
    """The same for bytes."""
    temporary = path.parent / f".auralize-{secrets.token_hex(6)}.part"
    try:
        temporary.write_bytes(content)
        os.replace(temporary, path)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise AuralizeError(f"{path}: this file cannot be written: {reason}") from None
    finally:
        temporary.unlink(missing_ok=True)
