"""The programme inside the page: 24 bit, rounded as results are, in a format that browsers decode."""

from __future__ import annotations

import io
from typing import Final

import soundfile as sf

from auralize.audio.depth import Encoder
from auralize.errors import AudioFileError
from auralize.handover.options import Kind
from auralize.renderer.take import Take

MEDIA_TYPES: Final[dict[Kind, str]] = {"flac": "audio/flac", "wav": "audio/wav"}
MOST_CHANNELS: Final = 2
HIGHEST_RATE: Final = 96_000
"""Hz; the Web Audio API asks browsers for 8 to 96 kHz, and no more."""
LONGEST: Final = 300.0
"""s; in stereo at 48 kHz this is a page of some 70 MB, which browsers still open at once."""


def check_playable(source: Take) -> None:
    """Raise AudioFileError for a source that a page cannot play, with what to do about it."""
    info = source.info
    if info.channels > MOST_CHANNELS:
        raise AudioFileError(
            f"{info.path} has {info.channels} channels, and a page plays one or two; mix it down to stereo "
            "or mono first, in an audio editor"
        )
    if info.rate > HIGHEST_RATE:
        half = info.rate // 2
        right = half if half <= HIGHEST_RATE else HIGHEST_RATE
        raise AudioFileError(
            f"{info.path} has a sample rate of {info.rate} Hz, and browsers play up to {HIGHEST_RATE} Hz; "
            f"convert it to {right} Hz first, in an audio editor"
        )


def check_length(take: Take) -> None:
    """Raise AudioFileError for a region that a browser cannot hold."""
    seconds = take.frames / take.info.rate
    if seconds > LONGEST:
        raise AudioFileError(
            f"{take.info.path}: a region of {seconds:.0f} s is too long for a page; right is --for with "
            f"{LONGEST:g} s at most"
        )


def sound_inside(take: Take, kind: Kind) -> bytes:
    """The file that the page holds. Raises AudioFileError for samples over full scale."""
    encoder, file = Encoder("PCM_24"), io.BytesIO()
    with sf.SoundFile(
        file, "w", take.info.rate, take.channels, "PCM_24", format=kind.upper()
    ) as writer:
        for block in take.blocks():
            writer.write(encoder.encode(block))
    if encoder.clipped:
        raise AudioFileError(
            f"{take.info.path} has {encoder.clipped} samples over full scale in this region, which 24 bit "
            "cannot hold; turn it down in an audio editor first"
        )
    return file.getvalue()
