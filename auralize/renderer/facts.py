"""What is said of a rendered file: the comment inside it, and the JSON file beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any, Final, Literal

from auralize.audio.reader import AudioInfo
from auralize.audio.writer import LONGEST_COMMENT
from auralize.circuit.signals import Signal, signal_words
from auralize.circuit.solution import Across
from auralize.figures.columns import gathered
from auralize.figures.typical import LEFT_OPEN, is_left_open
from auralize.filters.quality import caution, goal_of
from auralize.gains import End, Gains, Heard, Match, headroom_gain
from auralize.outputs import origin
from auralize.renderer.options import RenderOptions
from auralize.renderer.take import Take
from auralize.rig.choice import Choice
from auralize.units import amplitude, rounded


@dataclass(frozen=True)
class RenderedFile:
    """One file that was written, and what is true of it."""

    path: Path
    choice: str
    """Empty for the source."""
    label: str
    signal: Signal | Literal["source"]
    gains: Gains
    loudness: float
    """LUFS of the file."""
    true_peak: float
    """dBTP of the file."""
    filter_error: float
    """dB, largest complex error of the filter relative to the response it came from."""
    clipped: int
    """Samples that the file could not hold."""
    across: Across = "both"
    """Which conductors a drop is over."""

    @property
    def caution(self) -> str | None:
        """One sentence where the filter missed its goal by far."""
        if self.signal == "source":
            return None
        return caution(self.path.name, self.filter_error, goal_of(self.signal))


@dataclass(frozen=True)
class Rendered:
    """All that one `render` wrote."""

    source: AudioInfo
    source_loudness: float
    """LUFS"""
    source_true_peak: float
    """dBTP"""
    match: Match
    outputs: tuple[RenderedFile, ...]
    told: tuple[str, ...] = ()
    """A sentence for each choice heard behind transformers, and on all that is noted of choices."""
    replaced: tuple[Path, ...] = ()
    """Those outputs whose names were taken by earlier files."""

    @property
    def softened(self) -> float:
        """dB of the headroom that is there for the make-up gain alone."""
        bare = [amplitude(o.true_peak - o.gains.makeup - o.gains.headroom) for o in self.outputs]
        return headroom_gain(bare) - self.outputs[0].gains.headroom


def told_of(choices: Sequence[Choice]) -> tuple[str, ...]:
    """What of a choice's level is in no file, and what is noted of it; each sentence once."""
    turns = [f"{c.name}: {c.turns_words}." for c in choices if c.turns_words]
    said = gathered(list(dict.fromkeys(note for c in choices for note in c.notes)))
    notes = [f"{note[:1].upper()}{note[1:].rstrip('.')}." for note in said]
    left = [_LEFT_OPEN] if any(is_left_open(choice) for choice in choices) else []
    return tuple(dict.fromkeys([*turns, *notes, *left]))


_LEFT_OPEN: Final = f"Rendered is one value: {LEFT_OPEN}."


def describe(
    heard: Heard,
    choice: Choice | None,
    gains: Gains,
    take: Take,
    tail: float,
    day: str | None = None,
) -> str:
    """The comment that travels inside the file; ``day`` is as in `origin`."""
    total, match, makeup, headroom = (
        rounded(gain, "+.2f") for gain in (gains.total, gains.match, gains.makeup, gains.headroom)
    )
    said = [f"gain {total} dB (match {match}, make-up {makeup}, headroom {headroom})"]
    what, rig = heard.words, ""
    if choice is not None and isinstance(heard, End):
        what = f"{signal_words(heard.signal, heard.across)}, choice {heard.choice}"
        rig = f", rig {choice.fingerprint}"
        said += [f"at {choice.listen}"] if choice.listen != choice.home else []
        said += [choice.turns_words] if choice.turns_words else []
    said += [tag.replace("-", " ") for tag in take.tags]
    said += [f"tail {tail:g} s"] if tail else []
    comment = "; ".join([what, *said, f"{origin(day)}{rig}"])
    return comment.encode()[:LONGEST_COMMENT].decode(errors="ignore")


def facts(
    rendered: Rendered,
    output: RenderedFile,
    choice: Choice | None,
    take: Take,
    options: RenderOptions,
    source_sha256: str,
) -> dict[str, Any]:
    """The facts of one file, for JSON."""
    gains = {name: round(value, 4) for name, value in asdict(output.gains).items()}
    turns = None if choice is None else choice.turns_db
    return {
        "file": output.path.name,
        "source": rendered.source.path.name,
        "source_sha256": source_sha256,
        "excerpt": take.data,
        "mono": take.mono,
        "tail_s": options.tail,
        "source_loudness_lufs": _finite(rendered.source_loudness),
        "signal": output.signal,
        "drop_across": output.across if output.signal == "drop" else None,
        "choice": output.choice or None,
        "label": output.label or None,
        "rig": None if choice is None else choice.fingerprint,
        "load": None if choice is None else choice.listen,
        "runs": {} if choice is None else {name: run.words for name, run in choice.runs.items()},
        "match": rendered.match.data,
        "make_up": _made_up(options),
        "gain_db": {**gains, "total": round(output.gains.total, 4)},
        "transformer_turns_db": None if turns is None else round(turns, 4),
        "loudness_lufs": _finite(output.loudness),
        "true_peak_dbtp": _finite(output.true_peak),
        "delay_samples": 0,
        "filter_error_db": _finite(output.filter_error),
        "filter_caution": output.caution,
        "clipped_samples": output.clipped,
    }


def _made_up(options: RenderOptions) -> str:
    if options.drops == "equal":
        return "equally loud"
    return "chosen" if options.makeup is None else "given"


def _finite(level: float) -> float | None:
    """JSON has no infinity: the level of silence is null."""
    return round(level, 3) if math.isfinite(level) else None
