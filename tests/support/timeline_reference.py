"""What a journal should have sounded like, worked out over whole signals: no block of it is computed twice.

Independent of the player: convolution by scipy.signal.fftconvolve, fades and gains written down anew.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.signal import fftconvolve

from auralize.live.player import Entry, Setup, SoftStart, Switch, Volume

Array = NDArray[np.float64]
SOFT_START = 0.5  # s


def cosine(position: Array) -> Array:
    """0 below 0, 1 above 1, half a cosine between."""
    return 0.5 - 0.5 * np.cos(np.pi * np.clip(position, 0.0, 1.0))


def reference(setup: Setup, entries: Sequence[Entry], programme: Array, block: int) -> Array:
    """(frames, channels) for a programme (frames, channels) at the rate of the setup; no limiter."""
    source = np.concatenate([dry(entry, programme, block) for entry in entries])
    out = np.zeros_like(source)
    begins, voices, rises = [0], [setup.voice], [0.0]
    for index, entry in enumerate(entries):
        for command in entry.commands:
            if isinstance(command, Switch):
                begins.append(index)
                voices.append(command.voice)
                rises.append(command.rise)
    for number, (begin, voice, rise) in enumerate(zip(begins, voices, rises, strict=True)):
        last = number + 1 == len(begins)
        end = len(entries) if last else begins[number + 1] + 1
        heard = slice(begin * block, end * block)
        before = max(0, heard.start - len(voice.taps) + 1)
        wet = fftconvolve(source[before : heard.stop], voice.taps[:, None], axes=0)
        wet = wet[heard.start - before : heard.stop - before] * voice.gain
        wet *= _risen(rise, entries[begin:end], block / setup.rate, block)[:, None]
        fade = cosine((np.arange(block) + 0.5) / block)[:, None]
        if number:
            wet[:block] *= fade
        if not last:
            wet[-block:] *= 1.0 - fade
        out[heard] += wet
    return out * _volume(setup, entries, block)[:, None]


def dry(entry: Entry, programme: Array, block: int) -> Array:
    """What goes into the filters, (block, channels)."""
    out = np.zeros((block, programme.shape[1]))
    for piece in entry.pieces:
        frame = piece.frame + np.arange(piece.length)
        part = programme[frame].copy()
        if piece.begin is not None:
            part *= cosine((frame - piece.begin + 0.5) / block)[:, None]
        if piece.end is not None:
            part *= cosine((piece.end - frame - 0.5) / block)[:, None]
        out[piece.at : piece.at + piece.length] = part
    fade = cosine((np.arange(block) + 0.5) / block)[:, None]
    if entry.rise:
        out *= fade
    if entry.fall:
        out *= 1.0 - fade
    return out


def _risen(depth: float, entries: Sequence[Entry], length: float, block: int) -> Array:
    """Up from ``depth`` dB down in two seconds of programme, straight in dB, once the fade is over."""
    moves = [bool(entry.pieces) for entry in entries]
    playing = np.repeat([False, *moves[1:]], block)
    seconds = np.cumsum(playing) * (length / block)
    return np.asarray(10.0 ** (-depth * np.maximum(1.0 - seconds / 2.0, 0.0) / 20.0))


def _volume(setup: Setup, entries: Sequence[Entry], block: int) -> Array:
    """Straight from where each block begins to where it ends."""
    steps = round(SOFT_START * setup.rate / block)
    wanted, since, now = setup.volume, 0, 0.0
    rows = []
    for entry in entries:
        for command in entry.commands:
            if isinstance(command, Volume):
                wanted = command.amplitude
            if isinstance(command, SoftStart):
                since, now = 0, 0.0
        since += 1
        goal = wanted * min(1.0, since / steps)
        rows.append(np.linspace(now, goal, block + 1)[1:])
        now = goal
    return np.concatenate(rows)


def fading(entries: Sequence[Entry], block: int) -> NDArray[np.bool_]:
    """True for each frame of a block that fades from one voice to another."""
    flags = [any(isinstance(c, Switch) for c in entry.commands) for entry in entries]
    return np.repeat(np.array(flags, bool), block)
