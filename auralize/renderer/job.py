"""One source, and all that a render makes of it."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, Future
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from auralize.audio.depth import Depth
from auralize.executors import result_of
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
from auralize.renderer.stretch import STRETCH
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
    source_sum: Future[str] | None = None
    """Where the checksum of the source is being found already."""

    @property
    def frames(self) -> int:
        """Of each output."""
        return self.take.frames + round(self.options.tail * self.take.info.rate)

    @property
    def shared(self) -> bool:
        """Whether it is long enough for several to share the work."""
        return self.frames >= 2.0 * STRETCH * self.take.info.rate

    def summed_by(self, workers: Executor | None) -> Job:
        """The same, its source summed up by one of the workers meanwhile, where they share the work."""
        if workers is None or not self.shared:
            return self
        return replace(self, source_sum=workers.submit(sha256_of, self.take.info.path))

    @cached_property
    def source_sha256(self) -> str:
        if self.source_sum is not None:
            return result_of(self.source_sum)
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
