"""What is played and when: each score yields seconds after its section's start, and a stereo sound."""

from collections.abc import Callable, Iterator
from typing import Final

from .brushes import brush_sweep, brush_tap, shaker
from .metal import bar, bell, cymbal
from .sound import BAR, BEAT, Samples, hertz, pan
from .strings import bass, course
from .voice import HISS, Phrase, Syllable, beats_of, hiss, sung

Event = tuple[float, Samples]
"""Seconds after the start of the section, and the sound (frames, 2) that begins there."""

ALONE: Final = (
    Syllable(2, "E3", "a", hissed=True),
    Syllable(1, "G3", "o"),
    Syllable(1, "F#3", "i", hissed=True),
    Syllable(1, "E3", "e"),
    Syllable(1, "D3", "u"),
    Syllable(3, "B2", "a", hissed=True),
)
TUNE: Final = (
    Syllable(2, "B3", "a", hissed=True),
    Syllable(1, "E4", "o"),
    Syllable(1, "D4", "e", hissed=True),
    Syllable(1, "C#4", "i"),
    Syllable(1, "B3", "o"),
    Syllable(2, "A3", "a", hissed=True),
    Syllable(1, "F#3", "u"),
    Syllable(3, "E3", "a", hissed=True),
)
"""The tune of the piece; metal bars play it two octaves up."""
BASS_LINE: Final = ((2, "E1"), (2, "A1"), (1, "B1"), (1, "E2"), (1, "G2"), (1, "A2"), (1, "B1"))
BASS_TOGETHER: Final = ((2, "E1"), (1, "B1"), (2, "A1"), (1, "E2"), (2, "D2"), (1, "A1"), (3, "E1"))
"""Beats and note."""
ARPEGGIOS: Final = (
    "E3 B3 E4 G4 B4 G4",
    "A2 E3 A3 C#4 E4 A4",
    "D3 A3 D4 F#4 A4 F#4",
    "E3 B3 E4 G4 B4 E5",
)
"""One bar of eighths each: E minor, A, D, E minor."""


def play_metal(rate: int) -> Iterator[Event]:
    """A cymbal swells, a bell, and the tune's turn on metal bars."""
    yield 0.0, 1.1 * cymbal(0.7, 3.2, 100, rate)
    yield 1.5, 0.9 * cymbal(0.004, 2.4, 101, rate)
    yield 0.5, 0.3 * pan(bell(hertz("E5"), 2.6, rate), -0.3)
    for at, note in ((0.5, "B5"), (1.0, "E6"), (1.5, "D6"), (2.0, "C#6"), (2.5, "B5")):
        yield at, 0.3 * pan(bar(hertz(note), 1.5, rate), 0.4)


def play_brushes(rate: int, bars: int = 2) -> Iterator[Event]:
    """A sweep on one, taps on two and three; the shaker goes in eighths."""
    for i in range(bars):
        at, seed, side = i * BAR, 200 + 20 * i, 1 - 2 * (i % 2)
        yield at, 0.8 * pan(brush_sweep(2000, 9000, 0.8, seed, rate), -0.3 * side)
        yield at + 0.75, 0.5 * pan(brush_sweep(9000, 2500, 0.7, seed + 1, rate), 0.3 * side)
        for beat in (1, 2):
            yield at + beat * BEAT, pan(brush_tap(seed + 1 + beat, rate), 0.1)
        for eighth in range(6):
            accent = 0.6 if eighth % 2 else 0.4
            yield at + eighth * BEAT / 2, accent * pan(shaker(seed + 4 + eighth, rate), 0.6)


def play_line(line: tuple[tuple[int, str], ...], rate: int) -> Iterator[Event]:
    """A bass line, in the middle."""
    beat = 0
    for beats, note in line:
        yield beat * BEAT, pan(bass(hertz(note), beats * BEAT, rate), 0.0)
        beat += beats


def play_bass(rate: int) -> Iterator[Event]:
    """The bass alone, stepping through the resonance of the driver."""
    return play_line(BASS_LINE, rate)


def play_arpeggio(notes: str, position: float, rate: int) -> Iterator[Event]:
    """One bar of eighths, low strings left, high ones right."""
    for eighth, note in enumerate(notes.split()):
        place = 0.6 * (eighth / 2.5 - 1)
        yield eighth * BEAT / 2, course(hertz(note), position, place, 1.4, rate)


def play_strings(rate: int) -> Iterator[Event]:
    """A bar plucked over the hole, then a bar near the bridge."""
    for i, position in enumerate((0.31, 0.07)):
        for at, sound in play_arpeggio(ARPEGGIOS[i], position, rate):
            yield i * BAR + at, sound


def play_phrase(phrase: Phrase, rate: int) -> Iterator[Event]:
    """A voice near the middle."""
    yield -HISS, pan(sung(phrase, rate), -0.1)
    for i, (at, syllable) in enumerate(zip(beats_of(phrase)[:-1], phrase, strict=True)):
        if syllable.hissed:
            yield at - HISS, 0.3 * pan(hiss(910 + i, rate), -0.1)


def play_voice(rate: int) -> Iterator[Event]:
    """The voice alone."""
    return play_phrase(ALONE, rate)


def play_tune_on_bars(rate: int) -> Iterator[Event]:
    """The tune on metal bars, two octaves above the voice."""
    for at, syllable in zip(beats_of(TUNE)[:-1], TUNE, strict=True):
        yield at, pan(bar(4 * hertz(syllable.note), 1.5, rate), 0.5)


def play_together(rate: int) -> Iterator[Event]:
    """Everything: the tune over four bars, and a last chord that rings out."""
    parts = [
        (1.0, 0.0, play_line(BASS_TOGETHER, rate)),
        (0.3, 0.0, play_phrase(TUNE, rate)),
        (0.3, 0.0, play_brushes(rate, bars=3)),
        (0.15, 0.0, play_tune_on_bars(rate)),
        *((0.4, i * BAR, play_arpeggio(notes, 0.16, rate)) for i, notes in enumerate(ARPEGGIOS)),
    ]
    for gain, at, events in parts:
        for later, sound in events:
            yield at + later, gain * sound
    yield 2 * BAR, 0.4 * cymbal(1.4, 2.5, 300, rate)
    yield 3 * BAR, 0.4 * cymbal(0.004, 1.5, 301, rate)
    yield 3 * BAR, 0.2 * pan(bell(hertz("E4"), 1.5, rate), -0.5)


SCORES: Final[tuple[tuple[float, Callable[[int], Iterator[Event]]], ...]] = (
    (1.8, play_metal),
    (0.9, play_brushes),
    (2.1, play_bass),
    (0.63, play_strings),
    (1.15, play_voice),
    (1.41, play_together),
)
"""Gain and score of each of SECTIONS; the gains bring them to about one loudness (BS.1770)."""
