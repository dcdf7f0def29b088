"""The text that goes with a demonstration set: what each file is, its gains, the times of the track."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from auralize.audio.reader import clock
from auralize.errors import one_line
from auralize.figures.columns import WIDTH, columns, decibels_text
from auralize.figures.sentences import heat
from auralize.gains import CEILING, step
from auralize.handover.cue_sheet import cut
from auralize.handover.track import DROP_TONE, END_TONE, FADE, UNDER, Track
from auralize.live.rise import RISE, STRIKING
from auralize.renderer.facts import Rendered
from auralize.renderer.options import RenderOptions
from auralize.renderer.take import FADE as CUT
from auralize.renderer.text import as_gains
from auralize.rig.choice import Choice
from auralize.units import rounded

_LONGEST_LABEL: Final = 300
"""Characters of a title, a name or a label that are told; no more is read."""
_CAUTION: Final = (
    "Start quiet: turn the volume down before you play any of this, and raise it slowly. A drop is made "
    "louder by its make-up gain, so that it can be as loud as the programme; on the line it is softer by "
    "that. Loud sound harms hearing for good."
)
_APPROVES: Final = (
    "This predicts sound and approves no wiring: loudspeaker lines can carry dangerous voltage, and local "
    "codes and licensed practice govern."
)


@dataclass(frozen=True)
class MadeSet:
    """What is in the set."""

    title: str
    origin: str
    fingerprint: str
    rendered: Rendered
    track: Track
    path: Path
    """Of the track."""
    peak: float
    """dBTP of the track."""


def gains_text(made: MadeSet, choices: Sequence[Choice], options: RenderOptions) -> str:
    """In plain words, 80 columns wide."""
    title = _wrapped(_safe(made.title))
    parts = [
        f"{title}\n{'=' * min(WIDTH, len(title))}",
        _begin(made, options),
        _wrapped(_CAUTION),
        *map(_wrapped, _louder(made.rendered)),
        *map(_wrapped, heat(choices)),
        _section("What each file is", _files(made, choices)),
        _section("Gains", _gains(made)),
        _section("The track", _track(made)),
        _section("Turns in the track", _turns(made)),
        _section("How it was made", _how(made)),
    ]
    return "\n\n".join(parts) + "\n"


def _begin(made: MadeSet, options: RenderOptions) -> str:
    info, excerpt = made.rendered.source, options.excerpt
    first = round(excerpt.start * info.rate)
    last = first + made.track.info.frames - round(options.tail * info.rate)
    said = [
        f"A demonstration set made of {_safe(info.path.name)}",
        f"from {clock(first, info.rate)} to {clock(last, info.rate)}",
        *(["the mean of all channels"] if excerpt.mono else []),
        *(
            [f"faded in {1000.0 * CUT:g} ms where it was cut off"]
            if last - first < info.frames
            else []
        ),
    ]
    return _wrapped(f"{', '.join(said)}. Times are minutes and seconds.")


def _louder(rendered: Rendered) -> list[str]:
    """What is so much louder than the source that nobody should set the volume by that."""
    source = rendered.outputs[0]
    loudest = max(rendered.outputs, key=lambda output: output.loudness)
    by = step(source.loudness, loudest.loudness)
    if by <= STRIKING:
        return []
    how = f"{by:.1f} dB louder than" if math.isfinite(by) else "loud, and there is silence in"
    return [
        f"Caution: {loudest.path.name} is {how} {source.path.name}. Set the volume by the louder one."
    ]


def _files(made: MadeSet, choices: Sequence[Choice]) -> str:
    named = {choice.name: choice for choice in choices}
    numbers = {choice.name: number for number, choice in enumerate(choices, start=1)}
    lines = []
    for output in made.rendered.outputs:
        lines.append(output.path.name)
        if output.signal == "source":
            lines.append(_indented("the programme, as the amplifier gets it"))
            continue
        choice = named[output.choice]
        what = (
            "what arrives"
            if output.signal == "receiving"
            else "the drop, which the run keeps, there and back"
        )
        at = f", at load {_safe(choice.listen)}" if output.signal == "receiving" else ""
        lines.append(_indented(f"choice {numbers[choice.name]}, {_safe(choice.name)}: {what}{at}"))
        if output.signal == "receiving" and choice.label != choice.name:
            lines.append(_indented(_safe(choice.label)))
    lines += [made.path.name, _indented("all of them in turn, announced by tones; see below")]
    lines += [made.path.with_suffix(".cue").name, _indented("its parts, for a player")]
    lines += ["SHA256SUMS", _indented("checksums: sha256sum -c SHA256SUMS")]
    return "\n".join(lines)


def _gains(made: MadeSet) -> str:
    """As `auralize render` prints them, with the names of the set."""
    info = made.rendered.source
    named = replace(info, path=Path(_safe(info.path.name)))
    printed = as_gains(replace(made.rendered, source=named))
    lines = [line if len(line) <= WIDTH else _wrapped(line) for line in printed.splitlines()]
    return "\n".join(
        [
            *lines,
            _wrapped(
                "Gain is what was added to the voltage on the line: match, make-up and headroom."
            ),
        ]
    )


def _track(made: MadeSet) -> str:
    track, rate = made.track, made.track.info.rate
    rows = [("part", "begins", "sample", "passage", "sample", "tones")]
    rows.append(("", "", "", "", "", "LUFS"))
    for number, part in enumerate(track.parts, start=1):
        begins = (clock(part.start, rate), f"{part.start}")
        passage = (clock(part.passage, rate), f"{part.passage}")
        rows.append((f"{number}", *begins, *passage, rounded(part.tone_loudness, ".1f")))
    titles = [
        textwrap.fill(f"{number:>2}  {_safe(part.title)}", WIDTH, subsequent_indent="    ")
        for number, part in enumerate(track.parts, start=1)
    ]
    return "\n".join([_wrapped(_of_track(made)), "", *titles, "", columns(rows)])


def _of_track(made: MadeSet) -> str:
    track, rate = made.track, made.track.info.rate
    length = f"{clock(track.frames, rate)} ({track.frames} samples at {rate} Hz)"
    fades = f"fades of {1000.0 * FADE:g} ms and a soft start of the first in {track.parts[0].rise / rate:g} s"
    return (
        f"{made.path.name} lasts {length}; its true peak is {decibels_text(made.peak)} dBTP. Each part "
        f"begins with silence. Then come tones, as many as the number of the choice: of {END_TONE:g} Hz, of "
        f"{DROP_TONE:g} Hz before a drop; a long one before the source; of both, one after the other, where "
        f"two are heard in turn. They are {UNDER:g} LU under the softest file that they announce. "
        "After them comes a passage: the first "
        f"{clock(track.passage, rate)} of the files, sample by sample but for {fades}.{_slow(track)} "
        "Samples are counted from 0, the beginning of the track."
    )


def _slow(track: Track) -> str:
    usual = round(FADE * track.info.rate)
    slow = [str(n) for n, part in enumerate(track.parts, start=1) if n > 1 and part.rise > usual]
    if not slow:
        return ""
    return (
        f" The passage of part {', '.join(slow)} comes up in {RISE:g} s at most, being more than "
        f"{STRIKING:g} dB louder than the part before."
    )


def _turns(made: MadeSet) -> str:
    """When what is heard changes, in the parts where choices take turns."""
    track, rate = made.track, made.track.info.rate
    rows = [("part", "from", "sample", "heard")]
    for number, part in enumerate(track.parts, start=1):
        if len(part.voices) > 1:
            rows += [
                (f"{number}", clock(at, rate), f"{at}", _called(voice.tones))
                for at, voice in track.turns(part)
            ]
    intro = (
        f"From these samples on each is heard, cross-faded in {1000.0 * track.fade / rate:g} ms, in step "
        "with the other to the sample."
    )
    return "\n".join([_wrapped(intro), "", columns(rows)])


def _called(number: int) -> str:
    return f"choice {number}" if number else "source"


def _how(made: MadeSet) -> str:
    made_by = f"Made by {made.origin}; fingerprint {made.fingerprint}."
    rendered = (
        "The files hold the samples that `auralize render` writes of this region at these gains, in 24 bit; "
        f"nothing passes {CEILING:g} dBTP."
    )
    return "\n".join([_wrapped(made_by), _wrapped(rendered), _wrapped(_APPROVES)])


def _section(head: str, text: str) -> str:
    return f"{head}\n{'-' * len(head)}\n{text}"


def _safe(text: str) -> str:
    return cut(one_line(text), _LONGEST_LABEL)


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH)


def _indented(text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent="  ", subsequent_indent="  ")
