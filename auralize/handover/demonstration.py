"""The demonstration set: sound files, a track of them, its cue sheet, gains and times as text, checksums.

The sound files are what `auralize render` writes with the same options, under names that sort and that any
file system and any small display takes.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from auralize.audio.reader import probe
from auralize.circuit.signals import signal_words
from auralize.errors import FileError, RequestError
from auralize.files import write_text
from auralize.gains import SOURCE, End, Heard
from auralize.handover.cue_sheet import MOST_TRACKS, cue_sheet, cut
from auralize.handover.demonstration_text import MadeSet, gains_text
from auralize.handover.track import DROP_TONE, END_TONE, Announced, laid_out, write_track
from auralize.outputs import origin, sha256_of, sidecar
from auralize.renderer.facts import Rendered
from auralize.renderer.files import Designs, carried_out, check_drops, prepared
from auralize.renderer.options import USUAL, RenderOptions
from auralize.renderer.parts import Progress
from auralize.rig.choice import Choice

DEPTH: Final = "PCM_24"
LONGEST_NAME: Final = 30
"""Letters of a name that a desk's player or a car's may show (common practice, no source)."""
_MOST_CHOICES: Final = MOST_TRACKS // 3
"""Each is heard by itself, in turn with another, and as a drop."""
_UNTITLED: Final = "Demonstration set"
_RENDERED: Final = 0.7
"""Share of the work that is done when the files are there, about."""


@dataclass(frozen=True)
class Imprint:
    """What the set says of itself besides what follows from the sound and the choices."""

    title: str
    day: str
    """As 2026-05-01: when it was made, or what of it is as old."""
    fingerprint: str
    """Of the call, or of the rig."""


def demonstration(
    source: Path,
    choices: Sequence[Choice],
    folder: Path,
    imprint: Imprint,
    options: RenderOptions = USUAL,
    designs: Designs | None = None,
    progress: Progress = lambda share: None,
) -> tuple[Path, ...]:
    """Write the set into ``folder``, which is there and empty; the same bytes whenever it is made.

    Of ``options`` what is rendered, and in which depth, is settled here: the source, the receiving end
    and the drop over both conductors of each choice, in 24 bit. Raises AuralizeError; what was written
    till then stays in the folder.
    """
    check_choices(choices)
    _check_empty(folder)
    options = replace(
        options, signals=("receiving", "drop"), source=True, across="both", depth=DEPTH
    )
    check_drops(choices, options)
    rendered = _rendered(source, choices, folder, options, imprint, designs, progress)
    voices = _voices(rendered)
    track = laid_out(probe(rendered.outputs[0].path), _asked(voices, choices))
    path = folder / f"track{options.suffix}"
    comment = f"all choices in turn; {origin(imprint.day)}"
    peak = write_track(
        track, path, DEPTH, comment, lambda share: progress(_RENDERED + (1.0 - _RENDERED) * share)
    )
    title = imprint.title or _UNTITLED
    sheet, gains = path.with_suffix(".cue"), folder / "gains.txt"
    parts = [(part.title, part.start) for part in track.parts]
    write_text(sheet, cue_sheet(title, path.name, parts, track.info.rate, origin(imprint.day)))
    made = MadeSet(title, origin(imprint.day), imprint.fingerprint, rendered, track, path, peak)
    write_text(gains, gains_text(made, choices, options))
    files = [*(output.path for output in rendered.outputs), path, sheet, gains]
    sums = folder / "SHA256SUMS"
    write_text(sums, "".join(f"{sha256_of(file)}  {file.name}\n" for file in files))
    return (*files, sums)


def check_choices(choices: Sequence[Choice]) -> None:
    """Raise RequestError for more than a track can number."""
    if len(choices) > _MOST_CHOICES:
        raise RequestError(
            f"a demonstration set has {_MOST_CHOICES} choices at most, and {len(choices)} were asked for; "
            "name those that are to be heard"
        )


def _check_empty(folder: Path) -> None:
    if any(folder.iterdir()):
        raise FileError(f"{folder}: a demonstration set is made in an empty folder")


def _rendered(
    source: Path,
    choices: Sequence[Choice],
    folder: Path,
    options: RenderOptions,
    imprint: Imprint,
    designs: Designs | None,
    progress: Progress,
) -> Rendered:
    """Source, receiving ends, drops, in the order of their names; all facts of them are in one text later."""
    job = prepared(source, choices, folder, options)
    job = replace(job, paths=_paths(choices, folder, options.suffix), day=imprint.day)
    done = carried_out(job, designs or Designs(), lambda share: progress(_RENDERED * share))
    for output in done.outputs:
        sidecar(output.path).unlink()
    return replace(done, outputs=tuple(sorted(done.outputs, key=lambda output: output.path.name)))


def _paths(choices: Sequence[Choice], folder: Path, suffix: str) -> dict[Heard, Path]:
    heard: list[tuple[Heard, str]] = [(SOURCE, "source")]
    for signal in ("receiving", "drop"):
        for number, choice in enumerate(choices, start=1):
            heard.append((End(signal, choice.name), f"{signal}-{_plain(choice.name, number)}"))
    stems = (f"{number:02d}-{words}" for number, (_, words) in enumerate(heard, start=1))
    return {
        what: folder / f"{stem[:LONGEST_NAME].rstrip('-')}{suffix}"
        for (what, _), stem in zip(heard, stems, strict=True)
    }


def _plain(name: str, number: int) -> str:
    """What of a name is letters without accents and digits; its number where nothing is left."""
    bare = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode()
    return "-".join(re.findall(r"[A-Za-z0-9]+", bare)) or f"choice-{number}"


def _voices(rendered: Rendered) -> list[Announced]:
    """The files as the track calls them: source, receiving ends, drops."""
    count = len(rendered.outputs) // 2
    voices = []
    for place, output in enumerate(rendered.outputs):
        number = (place - 1) % count + 1 if place else 0
        hertz = DROP_TONE if output.signal == "drop" else END_TONE
        voices.append(Announced(output.path, number, hertz, output.loudness))
    return voices


def _asked(
    voices: Sequence[Announced], choices: Sequence[Choice]
) -> list[tuple[str, tuple[Announced, ...]]]:
    """The parts: each by itself, the first in turn with each of the others, the drops."""
    count = len(choices)
    source, ends, drops = voices[0], voices[1 : count + 1], voices[count + 1 :]
    names = [cut(choice.name, LONGEST_NAME) for choice in choices]
    arrives, kept = signal_words("receiving", "both"), signal_words("drop", "both")
    each = [
        (f"Choice {end.tones}, {arrives}: {name}", (end,))
        for end, name in zip(ends, names, strict=True)
    ]
    turns = [
        (f"Choices 1 and {other.tones} in turn, {arrives}", (ends[0], other)) for other in ends[1:]
    ]
    if not turns:
        turns = [(f"Source and choice 1 in turn, {arrives}", (source, ends[0]))]
    dropped = [
        (f"Choice {drop.tones}, {kept}: {name}", (drop,))
        for drop, name in zip(drops, names, strict=True)
    ]
    return [("Source", (source,)), *each, *turns, *dropped]
