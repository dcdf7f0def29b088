"""Where the measurements that a rig names may lie: a rig from elsewhere opens no file but its own."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

from auralize.rig.table import Table
from auralize.units import quoted


@dataclass(frozen=True)
class Folder:
    """The folder of a rig file; ``anywhere``: its files may lie elsewhere too, as the user allowed."""

    path: Path
    anywhere: bool = False
    files: list[Path] = field(default_factory=list)
    """Those that were asked for."""

    def file(self, table: Table, key: str = "file") -> Path:
        """The file that a rig names under ``key``; raises RigError where it leads out of the folder."""
        name = table.text(key)
        path = self.path / name
        if not (self.anywhere or self._holds(name, path)):
            raise table.refuse(
                key,
                f"{quoted(name)} leads out of the rig's folder; right is a file in it or below (or allow "
                "it: --files-anywhere on the command line, files_anywhere=True in code)",
            )
        self.files.append(path)
        return path

    def _holds(self, name: str, path: Path) -> bool:
        if Path(name).is_absolute() or ".." in Path(name).parts:
            return False
        inside = Path(os.path.realpath(path))  # links followed, whatever is there
        return inside.is_relative_to(os.path.realpath(self.path))
