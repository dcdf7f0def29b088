"""One track for all choices: short soft tones say which, then the same passage through each.

What is between the fades is what the files hold, sample by sample. Parts and passages begin on the `grid`,
so that a cue sheet can tell them to the sample.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import numpy as np
from numpy.typing import NDArray

from auralize.audio.depth import Depth
from auralize.audio.loudness import LOUDNESS_OFFSET, channel_weights, k_weighting
from auralize.audio.metering import Samples
from auralize.audio.reader import AudioInfo, read_blocks
from auralize.audio.tones import steps
from auralize.audio.true_peak import TruePeakMeter
from auralize.audio.writer import AudioWriter
from auralize.gains import step as louder
from auralize.handover.cue_sheet import grid
from auralize.live.rise import RISE, STRIKING
from auralize.units import amplitude, decibels

LONGEST_PASSAGE: Final = 30.0
"""s of the files that are in the track, from their beginning."""
SILENCE: Final = 0.5
"""s at the beginning of each part, and at least so much after its tones."""
SOFT_START: Final = 0.5
"""s in which the first passage comes up: whoever turned it up too far hears so in time."""
FADE: Final = 0.015
"""s of raised cosine at the edges of passages, and from one choice to the next."""
TURN: Final = 4.0
"""s after which choices take turns, where the passage is long enough for four turns of them ..."""
SHORTEST_TURN: Final = 1.0
"""... and at least so much. Both: common practice, no source."""
TONE: Final = 0.12
"""s of a tone ..."""
LONG_TONE: Final = 0.6
"""... and of the one that announces the source."""
APART: Final = 0.12
"""s between two tones; after every `GROUP` of them, so that they can be counted, a tone longer."""
GROUP: Final = 5
BETWEEN: Final = 0.3
"""s between the tones of two choices that take turns."""
END_TONE: Final = 1000.0
"""Hz of tones that announce the source and receiving ends ..."""
DROP_TONE: Final = 500.0
"""... and drops."""
UNDER: Final = 12.0
"""LU by which tones are softer than what they announce (common practice, no source) ..."""
IN_SILENCE: Final = -50.0
"""... or LUFS, where that is silent."""
BLOCK: Final = 1 << 15
"""Frames worked on at a time."""


@dataclass(frozen=True)
class Announced:
    """A file that is heard in the track, and how it is announced."""

    path: Path
    tones: int
    """The number of its choice; 0: the source, which gets a single long one."""
    hertz: float
    loudness: float
    """LUFS of the file; minus infinity for silence."""


@dataclass(frozen=True)
class TrackPart:
    """One announcement and the passage that follows."""

    title: str
    voices: tuple[Announced, ...]
    """What is heard: one, or two that take turns."""
    start: int
    """Sample of the track at which it begins: with silence, then the tones."""
    passage: int
    """Sample at which its passage begins."""
    rise: int
    """Samples in which that comes up: more where it is much louder than the part before, as on the bench."""

    @property
    def tone_loudness(self) -> float:
        """LUFS of the tones, were they to last."""
        heard = min(voice.loudness for voice in self.voices)
        return heard - UNDER if math.isfinite(heard) else IN_SILENCE


@dataclass(frozen=True)
class Track:
    """Where everything is, in samples."""

    info: AudioInfo
    """Of the files; all are alike."""
    parts: tuple[TrackPart, ...]
    passage: int
    """Length of each passage."""
    turn: int
    """Samples after which two choices take turns."""
    frames: int

    @property
    def fade(self) -> int:
        return max(1, min(round(FADE * self.info.rate), self.turn // 2))

    def turns(self, part: TrackPart) -> list[tuple[int, Announced]]:
        """From which sample of the track on each voice is heard; it is alone after `fade`."""
        if len(part.voices) == 1:
            return [(part.passage, part.voices[0])]
        count = max(1, self.passage // self.turn)
        return [
            (part.passage + number * self.turn, part.voices[number % 2]) for number in range(count)
        ]


def laid_out(info: AudioInfo, asked: Sequence[tuple[str, tuple[Announced, ...]]]) -> Track:
    """A track of parts with these titles and voices; ``info`` is that of one of their files."""
    rate, step = info.rate, grid(info.rate)
    passage = min(info.frames, round(LONGEST_PASSAGE * rate))
    shortest = max(1, min(round(SHORTEST_TURN * rate), passage // 2))
    turn = max(shortest, min(round(TURN * rate), passage // 4))
    parts: list[TrackPart] = []
    at, before = 0, math.inf
    for title, voices in asked:
        silence = round(SILENCE * rate)
        begin = _up(at + 2 * silence + len(_tones(voices, rate)), step)
        loudest = max(voice.loudness for voice in voices)
        seconds = RISE if louder(before, loudest) > STRIKING else FADE
        rise = min(passage // 2, round((seconds if parts else SOFT_START) * rate))
        before = loudest
        parts.append(TrackPart(title, voices, at, begin, rise))
        at = _up(begin + passage, step)
    return Track(info, tuple(parts), passage, turn, at)


def write_track(
    track: Track, path: Path, depth: Depth, comment: str, told: Callable[[float], None]
) -> float:
    """Write it to ``path``; its true peak in dBTP. ``told`` gets the share that is done."""
    info = track.info
    meter = TruePeakMeter(info.rate, info.channels)
    writer = AudioWriter(
        path, info.rate, info.channels, depth, track.frames, comment, mask=info.mask
    )
    with writer:
        for block in _blocks(track):
            writer.write(block)
            meter.add(block)
            told(writer.written / track.frames)
    return decibels(meter.peak)


def _blocks(track: Track) -> Iterator[Samples]:
    ends = [part.start for part in track.parts[1:]] + [track.frames]
    for part, end in zip(track.parts, ends, strict=True):
        yield _announcement(track, part)
        yield from _passage(track, part)
        yield np.zeros((end - part.passage - track.passage, track.info.channels))


def _announcement(track: Track, part: TrackPart) -> Samples:
    """All of a part that is before its passage."""
    info = track.info
    out = np.zeros((part.passage - part.start, info.channels))
    tones = _tones(part.voices, info.rate)
    begin = round(SILENCE * info.rate)
    out[begin : begin + len(tones)] = _level(part, info) * tones
    return out


def _level(part: TrackPart, info: AudioInfo) -> float:
    """Rms, in every channel, of a steady tone as loud as the part's tones are to be (BS.1770)."""
    from scipy.signal import sosfreqz

    _, weighting = sosfreqz(k_weighting(info.rate), [part.voices[0].hertz], fs=info.rate)
    heard = max(1.0, float(channel_weights(info.channels, info.mask).sum()))
    weighted = part.tone_loudness - LOUDNESS_OFFSET - 10.0 * math.log10(heard)
    return amplitude(weighted) / float(abs(weighting[0]))


def _tones(voices: Sequence[Announced], rate: int) -> Samples:
    """(n, 1) of tones of rms 1 that come and go as raised cosines: as many as a choice's number."""
    pieces: list[Samples] = []
    for voice in voices:
        long = TONE if voice.tones else LONG_TONE
        tone = steps((voice.hertz,), long, rate, 0, round(long * rate))
        for number in range(max(1, voice.tones)):
            full = number and number % GROUP == 0
            apart = APART + (TONE + APART if full else 0.0)
            before = apart if number else BETWEEN if pieces else 0.0
            pieces += [np.zeros((round(before * rate), 1)), tone]
    return np.concatenate(pieces)


def _passage(track: Track, part: TrackPart) -> Iterator[Samples]:
    done = 0
    readers = [read_blocks(voice.path, BLOCK) for voice in part.voices]
    for heard in zip(*readers, strict=True):
        count = min(len(heard[0]), track.passage - done)
        at = np.arange(done, done + count)
        out = heard[0][:count]
        if len(heard) == 2:
            second = _second(track, at)[:, None]
            out = out * (1.0 - second) + heard[1][:count] * second
        yield out * _edges(track, part, at)[:, None]
        done += count
        if done == track.passage:
            return


def _second(track: Track, at: NDArray[np.int64]) -> NDArray[np.float64]:
    """The share of the second voice, from 0 to 1, at samples of a passage: the first has the rest."""
    last = max(1, track.passage // track.turn) - 1
    turn = np.minimum(at // track.turn, last)
    arrived = np.where(turn > 0, _ramp(at - turn * track.turn, track.fade), 1.0)
    return np.where(turn % 2 == 1, arrived, 1.0 - arrived)


def _edges(track: Track, part: TrackPart, at: NDArray[np.int64]) -> NDArray[np.float64]:
    """The gain at samples of a passage: 1 but for its beginning and its end."""
    fall = min(track.passage // 2, round(FADE * track.info.rate))
    return _ramp(at, part.rise) * _ramp(track.passage - 1 - at, fall)


def _ramp(at: NDArray[np.int64], length: int) -> NDArray[np.float64]:
    """A raised cosine from 0 at its first sample to 1, which it has exactly after ``length``."""
    if not length:
        return np.ones(len(at))
    share = np.clip((at + 0.5) / length, 0.0, 1.0)
    return np.asarray(np.sin(0.5 * math.pi * share) ** 2)


def _up(sample: int, step: int) -> int:
    return -(-sample // step) * step
