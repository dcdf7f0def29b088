"""The last volume on each device, remembered from one session to the next."""

from __future__ import annotations

import json
import math
from contextlib import suppress
from pathlib import Path
from typing import Final

from auralize.errors import AuralizeError
from auralize.files import make_folder, state_folder, write_text

LOWEST_VOLUME: Final = -60.0
"""dB"""
START_VOLUME: Final = -20.0
"""dB; nothing begins louder."""


def state_path() -> Path:
    """Where volumes are kept."""
    return state_folder() / "volumes.json"


class Volumes:
    """The last volume by device, in dB, in a file that may be missing or spoilt."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._changed = False
        self._chosen: set[str] = set()
        self._known: dict[str, float] = {}
        with suppress(OSError, ValueError):
            found = json.loads(path.read_text(encoding="utf-8"))
            entries = found.items() if isinstance(found, dict) else ()
            self._known = {
                name: min(max(float(volume), LOWEST_VOLUME), 0.0)
                for name, volume in entries
                if type(volume) in (int, float) and math.isfinite(volume)
            }

    def first(self, device: str) -> float:
        """What to begin with: as chosen in this session, else the last volume, but no louder than quiet."""
        known = self._known.get(device, START_VOLUME)
        return known if device in self._chosen else min(known, START_VOLUME)

    def put(self, device: str, volume: float) -> None:
        """Remember what was chosen."""
        self._known[device] = volume
        self._chosen.add(device)
        self._changed = True

    def save(self) -> None:
        """Write what changed; a volume that cannot be kept only means a quiet start next time."""
        if not self._changed:
            return
        self._changed = False
        with suppress(AuralizeError):
            make_folder(self._path.parent)
            write_text(self._path, json.dumps(self._known, indent=2) + "\n")
