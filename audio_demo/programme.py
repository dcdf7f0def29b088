"""Programme made by synthesis: an evening on the open-air stage of the Saltmarsh Tide Mill.

Each instrument is a pure function of pitch, length and sample rate; each score yields what is played
and when. Every sound is a sum of partials or of noise bins that stops below the Nyquist frequency,
and every entry falls on a grid of 10 ms: the music is the same at any sample rate.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from math import isqrt, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

Samples = NDArray[np.float64]
Event = tuple[float, Samples]
"""Seconds after the start of the section, and the sound (frames, 2) that begins there."""

# --- form
BEAT: Final = 0.5
"""Seconds; three beats to the bar, 120 to the minute."""
BAR: Final = 3 * BEAT


@dataclass(frozen=True)
class Section:
    """A stretch of the programme, start and end in seconds, and what a cable may do to it."""

    name: str
    start: float
    end: float
    listen_for: str


SECTIONS: Final[tuple[Section, ...]] = (
    Section(
        "Struck metal",
        0 * BAR,
        2 * BAR,
        "Cymbal, bell and metal bars up to 18 kHz: does the shimmer dull, do the strikes soften?",
    ),
    Section(
        "Brushes",
        2 * BAR,
        4 * BAR,
        "Brushed drum and shaker, 2 to 16 kHz: does the hiss lose air or change colour in the sweep?",
    ),
    Section(
        "Bass",
        4 * BAR,
        7 * BAR,
        "E1 A1 B1 E2 G2 A2 B1, 41 to 110 Hz, round the driver's resonance: are all notes equally "
        "loud, do they stop cleanly?",
    ),
    Section(
        "Plucked strings",
        7 * BAR,
        9 * BAR,
        "Plucked soft, then near the bridge: is the pluck as sharp, is the change of colour there?",
    ),
    Section(
        "Voice",
        9 * BAR,
        12 * BAR,
        "A low voice, vowels and s: do vowels change colour or chestiness, does the s fall back?",
    ),
    Section(
        "Together",
        12 * BAR,
        16 * BAR,
        "Everything at once: the balance of top and bottom, and whether quiet things stay audible.",
    ),
)
LENGTH: Final = SECTIONS[-1].end
"""Seconds."""

# --- limits
LOWEST_RATE: Final = 44_100
HIGHEST_RATE: Final = 192_000
RATE_STEP: Final = 100
USABLE: Final = 0.45
"""Share of the sample rate above which nothing is synthesised."""
TOP: Final = 20_000.0
"""Hz; no partial or noise above it at any rate, so that rates differ as little as they can."""
PEAK_DBFS: Final = -3.0
"""Level of the largest sample. Peaks between samples: measured under -2.9 dBTP at 48 kHz."""
FADE_IN: Final = 0.15
FADE_OUT: Final = 1.2
"""Seconds, raised cosine, at the edges of the programme."""
SEED: Final = 1709
"""Any number would do: it fixes the noise."""

# --- what sounds are made of
SEMITONES_FROM_A: Final = {"C#": -8, "D": -7, "E": -5, "F#": -3, "G": -2, "A": 0, "B": 2}
"""Of the notes that are played: E dorian."""
CONCERT_A: Final = 440.0
"""Hz, A4 (ISO 16)."""


def hertz(note: str) -> float:
    """Pitch in Hz, equal temperament, of a note such as "C#4"."""
    semitones = SEMITONES_FROM_A[note[:-1]] + 12 * (int(note[-1]) - 4)
    return CONCERT_A * float(2.0 ** (semitones / 12))


def frames(seconds: float, rate: int) -> int:
    """Number of samples in a time that lies on the grid of 10 ms."""
    return round(seconds * rate)


def ceiling(rate: int) -> float:
    """Hz above which nothing may be synthesised at this rate."""
    return min(TOP, USABLE * rate)


def envelope(seconds: float, attack: float, release: float, rate: int) -> Samples:
    """Gain (frames,) that rises from 0 and falls back to 0 by half a raised cosine each."""
    t = np.arange(frames(seconds, rate)) / rate
    rise = np.clip(t / attack, 0, 1)
    fall = np.clip((seconds - 1 / rate - t) / release, 0, 1)
    return np.asarray(0.25 * (1 - np.cos(pi * rise)) * (1 - np.cos(pi * fall)))


def pan(sound: Samples, place: float) -> Samples:
    """Mono (frames,) to stereo (frames, 2) at equal power; place from -1 (left) to 1 (right)."""
    angle = (place + 1) * pi / 4
    return np.outer(sound, (np.cos(angle), np.sin(angle)))


def ring(
    frequency: Samples,
    tau: Samples,
    amplitude: Samples | NDArray[np.complex128],
    seconds: float,
    rate: int,
) -> Samples:
    """Sum (frames,) of decaying sines: Hz, time constant in s, and amplitude (complex: phase too).

    exp(s t) with t = coarse + fine factorises, so that the sum over partials is a matrix product;
    by einsum, since the last bits that BLAS gives depend on its number of threads.
    """
    keep = frequency <= ceiling(rate)
    s = -1 / tau[keep] + 2j * pi * frequency[keep]
    count = frames(seconds, rate)
    block = isqrt(count - 1) + 1
    coarse = -1j * amplitude[keep] * np.exp(np.outer(np.arange(block) * block / rate, s))
    fine = np.exp(np.outer(s, np.arange(block) / rate))
    left = np.concatenate([coarse.real, -coarse.imag], axis=1)
    right = np.concatenate([fine.real, fine.imag])
    return np.asarray(np.einsum("ck,kf->cf", left, right)).ravel()[:count]


def noise(centre: float, octaves: float, seconds: float, seed: int, rate: int) -> Samples:
    """Noise (frames,) of unit rms round a centre in Hz, log-normal in frequency, periodic.

    Drawn as a spectrum up to TOP, so that it is the same sound at every rate.
    """
    real, imag = np.random.default_rng((SEED, seed)).normal(size=(2, round(TOP * seconds)))
    frequency = np.arange(1, len(real) + 1) / seconds
    weight = np.exp(-0.5 * (np.log2(frequency / centre) / octaves) ** 2)
    # mean square of a bin: 2 weight^2 as drawn, and its sine in time has twice that
    weight /= 2 * np.sqrt(np.sum(weight**2))
    carried = (real + 1j * imag) * weight * (frequency <= ceiling(rate))
    return np.asarray(np.fft.irfft(np.append(0, carried), frames(seconds, rate), norm="forward"))


SWEEP_BANDS: Final = 1000.0 * 2.0 ** (np.arange(9) / 2)
"""Hz, half-octave centres, 1 to 16 kHz."""


def swept_noise(
    first: float, last: float, octaves: float, seconds: float, seed: int, rate: int
) -> Samples:
    """Noise (frames,) of unit rms whose centre glides from first to last (Hz) evenly in octaves."""
    glide = np.linspace(np.log2(first), np.log2(last), frames(seconds, rate))
    gains = np.exp(-0.5 * ((glide - np.log2(SWEEP_BANDS)[:, None]) / octaves) ** 2)
    bands = [
        noise(band, 0.25, seconds, seed * len(SWEEP_BANDS) + i, rate)
        for i, band in enumerate(SWEEP_BANDS)
    ]
    return np.asarray((gains * bands).sum(axis=0) / np.linalg.norm(gains, axis=0))


# --- struck metal
BAR_ROOTS: Final = np.array([4.730041, 7.853205, 10.995608, 14.137165, 17.278760, 20.420352])
"""Bending modes of a free bar (Euler and Bernoulli): the solutions of cosh x cos x = 1."""
BAR_RATIOS: Final = (BAR_ROOTS / BAR_ROOTS[0]) ** 2
BELL_RATIOS: Final = np.array([0.5, 1, 1.2, 1.5, 2, 2.5, 2.67, 3, 4, 5.33, 6.67, 8, 9.6, 11.2])
"""Hum, prime, tierce, quint, nominal and above, of a tuned bell; values from memory."""
BELL_SPLIT: Final = 1.0007
"""No bell is quite round: each mode is two, a little apart, and they beat."""
CYMBAL_MODES: Final = 420
CYMBAL_RANGE: Final = (280.0, 18_000.0)
"""Hz; a plate's modes lie about evenly in frequency."""


def bar(pitch: float, seconds: float, rate: int) -> Samples:
    """Metal bar struck by a hard mallet (frames,)."""
    frequency = pitch * BAR_RATIOS
    tau = 0.9 * (frequency / 1000) ** -0.6
    sound = ring(frequency, tau, BAR_RATIOS**-0.55, seconds, rate)
    return sound * envelope(seconds, 0.001, 0.2, rate)


def bell(pitch: float, seconds: float, rate: int) -> Samples:
    """Small cast bell (frames,) with its strike note at the pitch."""
    frequency = pitch * np.concatenate([BELL_RATIOS, BELL_RATIOS * BELL_SPLIT])
    tau = 1.6 * (frequency / 500) ** -0.7
    amplitude = np.tile(BELL_RATIOS**-0.4, 2) / 2
    return ring(frequency, tau, amplitude, seconds, rate) * envelope(seconds, 0.002, 0.4, rate)


def cymbal(attack: float, seconds: float, seed: int, rate: int) -> Samples:
    """Cymbal (frames, 2); a slow attack (s) is a roll that swells."""
    rng = np.random.default_rng((SEED, seed))
    low, high = CYMBAL_RANGE
    frequency = rng.uniform(low, high, CYMBAL_MODES)
    tau = 0.9 * (frequency / 1000) ** -0.35
    level = (frequency / 4000) ** -0.5 * (1 - np.exp(-((frequency / 1500) ** 2)))
    angle = rng.uniform(0, 2 * pi, (2, CYMBAL_MODES))
    amplitude = level / np.sqrt(CYMBAL_MODES) * np.exp(1j * angle)
    shape = envelope(seconds, attack, 0.6, rate)
    return np.stack([ring(frequency, tau, a, seconds, rate) * shape for a in amplitude], axis=1)


# --- brushed noise
DRUM_MODES: Final = np.array([182.0, 290.0, 388.0, 417.0])
"""Hz; a membrane's modes, 1 : 1.59 : 2.14 : 2.30 (zeros of Bessel functions)."""


def brush_sweep(first: float, last: float, seconds: float, seed: int, rate: int) -> Samples:
    """Wire brush drawn across a drum head (frames,); centre glides from first to last (Hz)."""
    shape = envelope(seconds, 0.6 * seconds, 0.4 * seconds, rate)
    return swept_noise(first, last, 0.55, seconds, seed, rate) * shape


def brush_tap(seed: int, rate: int) -> Samples:
    """Wire brush tapped on a drum head (frames,)."""
    seconds = 0.4
    t = np.arange(frames(seconds, rate)) / rate
    wires = swept_noise(7000, 3500, 1.0, seconds, seed, rate) * np.exp(-t / 0.06)
    skin = ring(DRUM_MODES, np.full(4, 0.07), np.array([0.5, 0.35, 0.2, 0.2]), seconds, rate)
    return (wires + skin) * envelope(seconds, 0.002, 0.1, rate)


def shaker(seed: int, rate: int) -> Samples:
    """One stroke of a shaker (frames,)."""
    seconds = 0.2
    grains = swept_noise(8000, 12_500, 0.5, seconds, seed, rate)
    return grains * envelope(seconds, 0.05, 0.15, rate)


# --- strings
BASS_PLUCK: Final = 0.22
BASS_TOP: Final = 6000.0
"""Hz; a bass string played with the finger has nothing above."""
COURSE_CENTS: Final = 2.5
"""The two strings of a course are never quite in tune."""
STIFFNESS: Final = 6e-5
"""Inharmonicity B of a thin steel string: f_h = h f (1 + B h^2)^0.5; common practice, no source."""


def plucked_at(position: float, harmonic: Samples) -> Samples:
    """Amplitudes of the force on the bridge, ideal string plucked at a share of its length."""
    return np.asarray(np.sin(pi * harmonic * position) / harmonic)


def bass(pitch: float, seconds: float, rate: int) -> Samples:
    """Plucked bass (frames,), fingered, stopped at the end of the note."""
    harmonic = np.arange(1.0, BASS_TOP // pitch + 1)
    frequency = harmonic * pitch
    tau = 1.6 / (1 + frequency / 350)
    amplitude = plucked_at(BASS_PLUCK, harmonic) / (1 + (frequency / 900) ** 2)
    sound = ring(frequency, tau, amplitude, seconds, rate)
    return sound * envelope(seconds, 0.006, 0.06, rate)


def course(pitch: float, position: float, place: float, seconds: float, rate: int) -> Samples:
    """Pair of plucked steel strings (frames, 2), a little apart in pitch and place."""
    harmonic = np.arange(1.0, TOP // pitch + 1)
    tau = 1.3 / (1 + harmonic * pitch / 1800)
    amplitude = plucked_at(position, harmonic)
    shape = envelope(seconds, 0.0015, 0.25, rate)
    sound = np.zeros((len(shape), 2))
    for side in (-1, 1):
        tuned = pitch * 2 ** (side * COURSE_CENTS / 2 / 1200)
        frequency = harmonic * tuned * np.sqrt(1 + STIFFNESS * harmonic**2)
        sound += pan(ring(frequency, tau, amplitude, seconds, rate) * shape, place + 0.2 * side)
    return sound


# --- voice
VOWELS: Final = {
    "i": (270.0, 2290.0, 3010.0),
    "e": (530.0, 1840.0, 2480.0),
    "a": (730.0, 1090.0, 2440.0),
    "o": (570.0, 840.0, 2410.0),
    "u": (300.0, 870.0, 2240.0),
}
"""Hz, first three formants, men: Peterson and Barney, J. Acoust. Soc. Am. 24 (1952), table II."""
UPPER_FORMANTS: Final = (3500.0, 4500.0, 5500.0, 6500.0, 7500.0)
"""Hz; odd multiples of 500 Hz, the resonances of a tube of 17.5 cm closed at one end."""
FORMANT_WIDTHS: Final = np.array([70.0, 90.0, 130.0, 180.0, 240.0, 300.0, 360.0, 420.0])
"""Hz, of all eight: common practice in formant synthesis, no source."""
VOICE_TOP: Final = 8000.0
"""Hz; above it is only breath and s."""
VOICE_SLOPE: Final = -0.6
"""Power of the harmonic's number: a firm glottal pulse, -10 dB, and radiation, +6 dB an octave."""
VIBRATO_HZ: Final = 5.4
VIBRATO_SEMITONES: Final = 0.3
HOP: Final = 0.01
"""Seconds between the points at which the voice is steered."""
BREATH: Final = 0.02
"""Relative to the tone; it comes and goes with each pulse."""
HISS: Final = 0.15
"""Seconds of s before a vowel, and before the beat: the vowel falls on it."""


@dataclass(frozen=True)
class Syllable:
    """One sung note: how many beats, which vowel (a key of VOWELS), and whether an s leads it."""

    beats: float
    note: str
    vowel: str
    hissed: bool = False


Phrase = tuple[Syllable, ...]


def beats_of(phrase: Phrase) -> Samples:
    """Seconds (syllables + 1,) at which the syllables start, and the last one ends."""
    return np.cumsum([0.0, *(syllable.beats for syllable in phrase)]) * BEAT


def smoothed(steps: Samples, seconds: float) -> Samples:
    """Steps at every HOP made into glides that last this many seconds."""
    half = round(seconds / HOP / 2)
    window = np.hanning(2 * half + 3)[1:-1]
    return np.convolve(np.pad(steps, half, mode="edge"), window / window.sum(), mode="valid")


def steer(phrase: Phrase, points: int) -> tuple[Samples, Samples, Samples]:
    """Pitch (points,) and formants (8, points) in Hz, and loudness (points,), at every HOP.

    The first point is HISS before the first beat.
    """
    beats = beats_of(phrase)
    lead = np.array([HISS * syllable.hissed for syllable in phrase])
    t = np.arange(points) * HOP - HISS
    now = np.clip(np.searchsorted(beats[:-1] - lead, t, side="right") - 1, 0, len(phrase) - 1)
    since = t - beats[now]
    steps = np.log2([hertz(syllable.note) for syllable in phrase])[now]
    depth = VIBRATO_SEMITONES / 12 * smoothed(np.clip((since - 0.2) / 0.4, 0, 1), 0.09)
    pitch = 2 ** (smoothed(steps, 0.09) + depth * np.sin(2 * pi * VIBRATO_HZ * t))
    targets = np.array([(*VOWELS[syllable.vowel], *UPPER_FORMANTS) for syllable in phrase])
    formants = np.array([smoothed(track, 0.12) for track in targets[now].T])
    joined = np.where(since < 0.04, 0.5, 1.0)  # a new vowel is leant upon, not struck
    voiced = np.where(since < 0, 0.0, joined) * (t < beats[-1] - 0.1)
    return pitch, formants, smoothed(voiced, 0.09)


def harmonics(pitch: Samples, formants: Samples) -> NDArray[np.complex128]:
    """Complex gains (harmonics, points) of a voice; their power is 1 at every point.

    The slope of the source times the cascade of the formants; a singer evens out the power of the
    vowels, which differ by 5 dB in speech.
    """
    h = np.arange(1.0, VOICE_TOP // pitch.min() + 1)[:, None]
    gains = (h * pitch < VOICE_TOP) * h**VOICE_SLOPE + 0j
    for centre, width in zip(formants, FORMANT_WIDTHS, strict=True):
        gains *= centre**2 / (centre**2 - (h * pitch) ** 2 + 1j * h * pitch * width)
    return np.asarray(gains / np.linalg.norm(gains, axis=0))


def sung(phrase: Phrase, rate: int) -> Samples:
    """A phrase sung (frames,), from HISS before its first beat: glottal pulses, and their breath.

    Harmonics are summed by Horner's rule with the gains at either end of each hop; between the
    ends the sum goes linearly.
    """
    hop = frames(HOP, rate)
    hops = round((beats_of(phrase)[-1] + HISS) / HOP)
    pitch, formants, loudness = steer(phrase, hops + 1)
    within = np.arange(hop) / hop
    steered = (pitch[:-1, None] + np.diff(pitch)[:, None] * within).ravel()
    turns = (np.cumsum(steered) - (steered + steered[0]) / 2) / rate  # trapezoids: no rate's bias
    pulse = np.exp(2j * pi * turns).reshape(hops, hop)
    first, last = np.zeros_like(pulse), np.zeros_like(pulse)
    for gain in (loudness * harmonics(pitch, formants))[::-1, :, None]:
        first = (first + gain[:-1]) * pulse
        last = (last + gain[1:]) * pulse
    tone = (first + (last - first) * within).imag.ravel()
    breath = BREATH * (1 - np.cos(2 * pi * turns)) * noise(4000, 0.8, hops * HOP, 900, rate)
    return np.asarray(
        tone + breath * np.interp(np.arange(hops * hop) / hop, np.arange(hops + 1), loudness)
    )


def hiss(seed: int, rate: int) -> Samples:
    """An s (frames,), that dies as the vowel sets in."""
    seconds = HISS + 0.05
    return noise(6800, 0.45, seconds, seed, rate) * envelope(seconds, 0.07, 0.08, rate)


# --- scores: seconds after the section's start, and a stereo sound
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

# --- the place
YARD_LEVEL: Final = 0.12
"""Sound that comes back from the mill's walls, relative to the direct sound."""
YARD_DELAY: Final = 0.02
YARD_TAU: Final = 0.12
YARD_LENGTH: Final = 1.0
"""Seconds: first return, time constant (60 dB in 0.8 s), and where it is cut."""
SUBSONIC: Final = 18.0
"""Hz; second-order high-pass as on any mixing desk: takes out the DC of decaying sines."""


def bins(count: int, rate: int) -> Samples:
    """Hz (count // 2 + 1,) of the bins of a real transform of count samples."""
    return np.arange(count // 2 + 1, dtype=np.float64) * (rate / count)


def high_pass(frequency: Samples) -> NDArray[np.complex128]:
    """Response of the subsonic filter, Butterworth, second order."""
    s = 1j * frequency / SUBSONIC
    return np.asarray(s**2 / (s**2 + np.sqrt(2) * s + 1))


def yard(seed: int, count: int, rate: int) -> NDArray[np.complex128]:
    """Spectrum (count // 2 + 1,) of the diffuse return, mean square YARD_LEVEL^2 round 1 kHz."""
    t = np.arange(frames(YARD_LENGTH, rate)) / rate
    tail = noise(1000, 1.4, YARD_LENGTH, seed, rate) * np.exp(-t / YARD_TAU)
    late = np.concatenate([np.zeros(frames(YARD_DELAY, rate)), tail])
    spectrum = np.fft.rfft(late, count)
    frequency = bins(count, rate)
    middle = spectrum[(frequency > 500) & (frequency < 2000)]
    return np.asarray(spectrum * (YARD_LEVEL / np.sqrt(np.mean(np.abs(middle) ** 2))))


def placed(dry: Samples, rate: int) -> Samples:
    """The dry mix (frames, 2) without DC, standing in the mill's yard."""
    count = len(dry) + frames(YARD_LENGTH, rate)  # room for the return, so that it wraps nowhere
    spectra = np.fft.rfft(dry, count, axis=0)
    spectra *= high_pass(bins(count, rate))[:, None]
    sent = spectra.mean(axis=1)
    for side in (0, 1):
        spectra[:, side] += sent * yard(400 + side, count, rate)
    return np.asarray(np.fft.irfft(spectra, count, axis=0))[: len(dry)]


def synthesise(rate: int = 48_000) -> Samples:
    """The programme (frames, 2), 24 s, largest sample at PEAK_DBFS, first and last sample 0.

    Rates from 44.1 to 192 kHz in steps of 100 Hz (the grid of 10 ms), else ValueError. The same
    samples at every call on one machine.
    """
    if not LOWEST_RATE <= rate <= HIGHEST_RATE or rate % RATE_STEP:
        raise ValueError(
            f"A sample rate of {rate} Hz does not suit the programme: it must be from "
            f"{LOWEST_RATE} to {HIGHEST_RATE} Hz and a multiple of {RATE_STEP} Hz."
        )
    mix = np.zeros((frames(LENGTH, rate), 2))
    for section, (gain, score) in zip(SECTIONS, SCORES, strict=True):
        for at, sound in score(rate):
            start = frames(section.start + at, rate)
            heard = sound[: len(mix) - start]
            mix[start : start + len(heard)] += gain * heard
    mix = placed(mix, rate) * envelope(LENGTH, FADE_IN, FADE_OUT, rate)[:, None]
    return np.asarray(mix * (10 ** (PEAK_DBFS / 20) / np.abs(mix).max()))
