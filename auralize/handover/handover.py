"""The whole way: from a rig and a sound file to a folder with a page and a demonstration set in it."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Final

from auralize.audio.reader import check_unchanged
from auralize.errors import AudioFileError
from auralize.gains import End, Gains, Heard
from auralize.handover.demonstration import Imprint, check_choices, demonstration
from auralize.handover.folder import bring_back, staged_folder
from auralize.handover.levels import Measured, gains, measure_all, signals
from auralize.handover.options import USUAL, HandoverOptions
from auralize.handover.page import check_library, page_text
from auralize.handover.page_data import PageMaterial, page_data, rig_fingerprint
from auralize.handover.programme import check_length, check_playable, sound_inside
from auralize.handover.region import USUAL_SECONDS, Differing, Region, differing
from auralize.outputs import fingerprint, sha256_of
from auralize.renderer.files import Designs
from auralize.renderer.options import RenderOptions
from auralize.renderer.parts import Progress, Share
from auralize.renderer.take import WHOLE, Excerpt, Take
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig

PAGE: Final = "page.html"
SET: Final = "demonstration"
MOST_BYTES: Final = 10_000_000
"""Of a page, unless its region was given: what can still be sent as a letter's enclosure."""
LEAST_SECONDS: Final = 2.0
"""No region is made shorter than that to keep a page small."""
_SPARE: Final = 0.99
"""Of the room that is left for the sound: parts of it are packed less well than the whole."""
_FOUND, _PAGE = 0.3, 0.5
"""Shares of the work that are done when the region is found, and when the page is written, about."""


@dataclass(frozen=True)
class HandedOver:
    """What was made, and what is true of it."""

    folder: Path
    source: Path
    choices: Sequence[Choice]
    region: Region
    """What of the source is in it."""
    shortened: bool
    """Whether the region was made shorter to keep the page small."""
    page_bytes: int
    files: tuple[Path, ...]
    """Of the demonstration set, relative to the folder."""
    options: HandoverOptions
    measured: Measured
    gains: Mapping[Heard, Gains]
    """Of all that the page lets hear, as it begins."""


def hand_over(
    rig: Rig,
    choices: Sequence[Choice],
    source: Path,
    folder: Path,
    options: HandoverOptions = USUAL,
    progress: Progress = lambda share: None,
) -> HandedOver:
    """Make ``folder``, with a page that plays ``source`` through the choices, and a demonstration set.

    Raises AuralizeError, and then there is no folder, or what was there before.
    """
    bring_back(folder)  # whatever is refused from here on
    stepped = options.steps.choices(rig, choices) if options.steps else []
    work = _Work(rig, choices, Take.of(source, WHOLE), options, stepped, progress)
    with staged_folder(folder, work.call, options.replaces) as place:
        made, page, region = work.page()
        (place / PAGE).write_bytes(page)
        progress(_PAGE)
        (place / SET).mkdir()
        heard = gains((made.measured, *made.stepped), options.match, options.makeup, options.drops)
        files = work.set(place / SET, region, _makeup(heard))
        check_unchanged(work.source.info)  # else page and set would be of two programmes
        named = tuple(file.relative_to(place) for file in files)
    shortened = work.shrinks and region.seconds < min(USUAL_SECONDS, work.seconds)
    return HandedOver(
        folder, source, choices, region, shortened, len(page), named, options, made.measured, heard
    )


@dataclass(frozen=True)
class _Work:
    """One call, and what of it is worked out once."""

    rig: Rig
    choices: Sequence[Choice]
    source: Take
    """All of the source."""
    options: HandoverOptions
    stepped: Sequence[Sequence[Choice]]
    """The choices at every step."""
    progress: Progress

    def __post_init__(self) -> None:
        check_library()
        check_choices(self.choices)
        check_playable(self.source)
        rate, hertz = self.source.info.rate, self.options.match.frequency
        if hertz > rate / 2.0:
            raise AudioFileError(
                f"{self.source.info.path}: to match at {hertz:g} Hz needs a sample rate of twice that or "
                f"more, and it has {rate} Hz"
            )

    @property
    def seconds(self) -> float:
        """Of the whole source."""
        return self.source.frames / self.source.info.rate

    @property
    def shrinks(self) -> bool:
        """Whether the region may be made shorter: nobody said how long it is to be."""
        return self.options.seconds is None

    @cached_property
    def sha256(self) -> str:
        return sha256_of(self.source.info.path)

    @cached_property
    def call(self) -> str:
        """Equal where the same is made of the same."""
        choices = [choice.identity for choice in self.choices]
        return fingerprint("handover", self.sha256, choices, *self.options.said)

    @cached_property
    def date(self) -> str:
        """The day that was given, or on which the sound file was last changed."""
        changed = self.source.info.path.stat().st_mtime
        day = self.options.date or datetime.datetime.fromtimestamp(changed, datetime.UTC).date()
        return day.isoformat()

    @cached_property
    def designs(self) -> Designs:
        return Designs()

    @cached_property
    def differing(self) -> Differing:
        share = Share(lambda done: self.progress(_FOUND * done), 1, self.source.frames)
        return differing(self.source, self.choices, self.designs, share)

    def region(self, seconds: float) -> Region:
        """A part of that length, or as near to it as the source has."""
        if self.options.start is not None:
            return Region(self.options.start, min(seconds, self.seconds - self.options.start))
        if seconds >= self.seconds:
            return Region(0.0, self.seconds)
        return self.differing.region(seconds)

    def excerpt(self, region: Region) -> Excerpt:
        """The same for the renderer, to which the whole is no excerpt."""
        return WHOLE if region.seconds == self.seconds else Excerpt(region.start, region.seconds)

    def page(self) -> tuple[PageMaterial, bytes, Region]:
        """The page with the longest region that there is room for."""
        seconds, room = self.options.seconds or USUAL_SECONDS, float(MOST_BYTES)
        while True:
            region = self.region(seconds)
            take = self._take(region)
            sound = sound_inside(take, self.options.kind)
            size = _as_text(sound)
            if self._too_long(size, room, seconds):
                seconds = _shorter(region.seconds, room / size)
                continue
            made = self._material(take, sound)
            page = page_text(page_data(made), self.choices, self.choices[0]).encode()
            if not self._too_long(len(page), MOST_BYTES, seconds):
                return made, page, region
            room = MOST_BYTES - (len(page) - size)
            seconds = _shorter(region.seconds, room / size)

    def _too_long(self, size: float, room: float, seconds: float) -> bool:
        return self.shrinks and size > room and seconds > LEAST_SECONDS

    def _take(self, region: Region) -> Take:
        take = Take.of(self.source.info.path, self.excerpt(region))
        check_length(take)
        return take

    def _material(self, take: Take, sound: bytes) -> PageMaterial:
        every = [signals(take, some, self.designs) for some in (self.choices, *self.stepped)]
        share = Share(
            lambda done: self.progress(_FOUND + (_PAGE - _FOUND) * done), len(every), take.frames
        )
        measured = [measure_all(take, parts, share) for parts in every]
        return PageMaterial(
            self.rig,
            self.choices,
            take,
            self.options,
            self.sha256,
            sound,
            measured[0],
            measured[1:],
            self.date,
        )

    def set(self, place: Path, region: Region, makeup: float) -> tuple[Path, ...]:
        """The demonstration set of the same region, at the same gains: steps have a say in the ``makeup``."""
        asked = self.options
        options = RenderOptions(
            match=asked.match,
            makeup=makeup if asked.steps and asked.drops == "one" else asked.makeup,
            drops=asked.drops,
            suffix=".flac" if asked.kind == "flac" else ".wav",
            excerpt=self.excerpt(region),
        )
        imprint = Imprint(self.rig.title, self.date, rig_fingerprint(self.choices))
        return demonstration(
            self.source.info.path,
            self.choices,
            place,
            imprint,
            options,
            self.designs,
            lambda share: self.progress(_PAGE + (1.0 - _PAGE) * share),
        )


def _makeup(heard: Mapping[Heard, Gains]) -> float:
    """dB on the drops over both conductors, where all have one."""
    drops = (h for h in heard if isinstance(h, End) and (h.signal, h.across) == ("drop", "both"))
    return heard[next(drops)].makeup


def _as_text(sound: bytes) -> float:
    """Bytes that a sound takes in a page: Base64 makes four of three (RFC 4648)."""
    return 4.0 * math.ceil(len(sound) / 3.0)


def _shorter(seconds: float, share: float) -> float:
    """In whole tenths of a second."""
    return max(LEAST_SECONDS, math.floor(10.0 * _SPARE * seconds * share) / 10.0)
