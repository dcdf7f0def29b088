"""The last volume on each device, remembered from one session to the next."""

from __future__ import annotations

import json
import math
import os
from contextlib import suppress
from pathlib import Path
from typing import Final

from auralize.errors import AuralizeError
from auralize.files import write_text

LOWEST_VOLUME: Final = -60.0
"""dB"""


def state_path() -> Path:
    """Where volumes are kept (XDG Base Directory Specification)."""
    base = os.environ.get("XDG_STATE_HOME", "")
    folder = Path(base) if os.path.isabs(base) else Path.home() / ".local" / "state"
    return folder / "auralize" / "volumes.json"


class Volumes:
    """The last volume by device, in dB, in a file that may be missing or spoilt."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._changed = False
        self._known: dict[str, float] = {}
        with suppress(OSError, ValueError):
            found = json.loads(path.read_text(encoding="utf-8"))
            entries = found.items() if isinstance(found, dict) else ()
            self._known = {
                name: min(max(float(volume), LOWEST_VOLUME), 0.0)
                for name, volume in entries
                if type(volume) in (int, float) and math.isfinite(volume)
            }

    def get(self, device: str) -> float | None:
        return self._known.get(device)

    def put(self, device: str, volume: float) -> None:
        self._known[device] = volume
        self._changed = True

    def save(self) -> None:
        """Write what changed; a volume that cannot be kept only means a quiet start next time."""
        if not self._changed:
            return
        self._changed = False
        with suppress(OSError, AuralizeError):
            self._path.parent.mkdir(parents=True, exist_ok=True)
            write_text(self._path, json.dumps(self._known, indent=2) + "\n")
