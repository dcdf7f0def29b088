"""One source, and all that a render makes of it."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from auralize.audio.depth import Depth
from auralize.files import check_text
from auralize.gains import (
    Heard,
)
from auralize.outputs import (
    check_ours,
    fingerprint,
    sha256_of,
    sidecar,
)
from auralize.renderer.options import RenderOptions
from auralize.renderer.take import Take
from auralize.rig.choice import Choice


@dataclass(frozen=True)
class Job:
    """One source and all that is to be made of it, found possible as far as that can be told at once."""

    take: Take
    choices: Sequence[Choice]
    options: RenderOptions
    depth: Depth
    paths: Mapping[Heard, Path]
    """Of all that is to be written."""
    day: str | None = None
    """What files say of when they were made; None: today."""

    @property
    def frames(self) -> int:
        """Of each output."""
        return self.take.frames + round(self.options.tail * self.take.info.rate)

    @cached_property
    def source_sha256(self) -> str:
        return sha256_of(self.take.info.path)

    @cached_property
    def call(self) -> str:
        """What the results are marked with: equal where the same is made of the same."""
        choices = sorted(choice.identity for choice in self.choices)
        return fingerprint("render", self.source_sha256, choices, self.depth, *self.options.said)

    def check_ours(self) -> None:
        """Raise FileError where a file is in the way that this call did not make."""
        for path in self.paths.values():
            check_text(sidecar(path))
            if os.path.lexists(path) or os.path.lexists(sidecar(path)):
                check_ours(path, self.call, self.options.replaces)
