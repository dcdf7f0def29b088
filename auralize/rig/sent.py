"""A rig on its way to workers of an executor: what its file says, and where its measurements lie."""

from __future__ import annotations

import json
from dataclasses import dataclass, replace
from functools import lru_cache
from pathlib import Path

from auralize.errors import AuralizeError
from auralize.executors import THIS, WorkerError, check_makers, makers
from auralize.rig.reading import Rig, read_rig


@dataclass(frozen=True)
class SentRig:
    """Text alone: circuits are made of it where it arrives, and are then the same."""

    text: str
    """All that the rig says, as JSON."""
    path: Path
    """Of its file, absolute: measurements lie there for all machines."""
    files_anywhere: bool
    choices: tuple[tuple[str, str, str], ...]
    """`Choice.identity` of each that is wanted."""
    made_with: tuple[tuple[str, str], ...]
    """Packages, and their versions."""

    @classmethod
    def of(cls, rig: Rig) -> SentRig:
        """The choices that the rig has, heard where they are."""
        return cls(
            json.dumps(rig.data, default=str),
            (rig.path or Path("rig")).absolute(),
            rig.files_anywhere,
            tuple(choice.identity for choice in rig.choices.values()),
            tuple(makers().items()),
        )

    def read(self) -> Rig:
        """The rig with these choices alone, on a worker; raises WorkerError where it is not the same."""
        return _read(self)


@lru_cache(maxsize=1)
def _read(sent: SentRig) -> Rig:
    """Once for all that a worker is sent with it."""
    check_makers(dict(sent.made_with))
    try:
        rig = read_rig(json.loads(sent.text), sent.path, files_anywhere=sent.files_anywhere)
        choices = {name: rig[name].at(listen) for name, listen, _ in sent.choices}
    except AuralizeError as error:
        raise WorkerError(f"the worker on {THIS} cannot read the rig: {error}") from None
    if tuple(choice.identity for choice in choices.values()) != sent.choices:
        raise WorkerError(
            f"the worker on {THIS} finds other measurements beside {sent.path}; right is a folder that "
            "all machines share, under the same path"
        )
    return replace(rig, choices=choices)
