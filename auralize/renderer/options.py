"""How to render, and what the results are then called: calls that differ give files of other names."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Final, Literal

from auralize.audio.depth import Depth
from auralize.circuit.signals import SIGNALS, Signal
from auralize.circuit.solution import Across
from auralize.errors import RequestError
from auralize.gains import INSTALLED, SOURCE, DropsWay, Heard, Match, Source
from auralize.outputs import file_name
from auralize.renderer.take import WHOLE, Excerpt, exact
from auralize.rig.table import guess

_DEPTH_TAGS: Final[dict[Depth, str]] = {
    "PCM_16": "16bit",
    "PCM_24": "24bit",
    "PCM_32": "32bit",
    "FLOAT": "float",
    "DOUBLE": "double",
}


@dataclass(frozen=True)
class RenderOptions:
    """How to render; all that can be chosen besides rig and source."""

    match: Match = INSTALLED
    signals: tuple[Signal, ...] = ("receiving", "drop")
    source: bool = False
    """Whether the source is written too, at the headroom gain of the results."""
    across: Across = "both"
    """Which conductors the drop is over."""
    makeup: float | None = None
    """dB on the drop; None: chosen, the same for all choices."""
    drops: DropsWay = "one"
    """Whether drops have that one gain, or each its own, so that they are equally loud."""
    depth: Depth | None = None
    """None: that of the source."""
    suffix: Literal[".wav", ".flac"] = ".wav"
    tail: float = 0.0
    """s of decay after the end of the source."""
    excerpt: Excerpt = WHOLE
    replaces: bool = False
    """Whether files that are there may be replaced, whoever made them."""

    @property
    def said(self) -> tuple[object, ...]:
        """What makes a difference to the content of results, but for their depth."""
        across = self.across if "drop" in self.signals else "both"
        asked = (sorted(self.signals), self.source, across, self.makeup)
        equal = ("equal drops",) if self.drops == "equal" else ()
        return (self.match.data, *asked, *equal, self.suffix, self.tail, *self.excerpt.tags)

    def path(self, folder: Path, source: Path, heard: Heard, tag: str, depth: Depth | None) -> Path:
        """Where a result goes; ``tag`` is of the choice, ``depth`` given if it is not the source's."""
        what = (heard.words, tag) if isinstance(heard, Source) else (tag, heard.kind)
        drop_of_set = f"drop-{self.across}"
        apart = self.across != "both" and "drop" in self.signals and drop_of_set not in what
        set_of = (
            f"with-{drop_of_set}" if apart else "",
            _match_tag(self.match),
            "" if self.makeup is None else f"make-up-{exact(self.makeup)}dB",
            "equal-drops" if self.drops == "equal" and "drop" in self.signals else "",
            _DEPTH_TAGS[depth] if depth else "",
            f"tail-{exact(self.tail)}s" if self.tail else "",
        )
        return folder / file_name([source.stem, *self.excerpt.tags, *what, *set_of], self.suffix)


USUAL: Final = RenderOptions()


def signals_of(names: Iterable[str]) -> tuple[tuple[Signal, ...], bool]:
    """Signals of these names, and whether the source is among them; raises RequestError."""
    asked = list(names)
    known = (*SIGNALS, SOURCE.words)
    for name in asked:
        if name not in known:
            raise RequestError(
                f"signals: {name!r} is not known{guess(name, known)}; right are {', '.join(known)}"
            )
    signals = tuple(signal for signal in SIGNALS if signal in asked)
    if not signals:
        raise RequestError(
            f"signals: {', '.join(asked) or 'none'} given, and no result is among them; right are "
            f"{', '.join(SIGNALS)}, with {SOURCE.words} beside them if wanted"
        )
    return signals, SOURCE.words in asked


def _match_tag(match: Match) -> str:
    if match.way == "level":
        return f"matched-{exact(match.frequency)}Hz"
    return "" if match.way == "installed" else "matched-loudness"
