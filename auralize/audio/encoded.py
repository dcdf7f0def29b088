"""A sound file that libsndfile encodes, one block after the other."""

from pathlib import Path
from typing import Any, Final

import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.depth import WORDS, Depth, Encoder
from auralize.audio.sink import Sink
from auralize.errors import AudioFileError

HIGHEST_FLOAT: Final = (2.0 - 2.0**-23) * 2.0**127
"""The highest that a float of 32 bits holds (IEEE 754)."""


class Encoded(Sink):
    """A sink that is open; writing and closing raise what soundfile does, too."""

    _file: sf.SoundFile

    def __init__(self, file: sf.SoundFile, path: Path, depth: Depth, dither_seed: int) -> None:
        super().__init__(path, file.samplerate, Encoder(depth, dither_seed))
        self._file, self._depth = file, depth

    def _put(self, piece: NDArray[Any], highest: float) -> None:
        if self._depth == "FLOAT" and highest > HIGHEST_FLOAT:
            raise AudioFileError(
                f"{self._path} would get samples beyond the range of {WORDS['FLOAT']}; "
                f"{WORDS['DOUBLE']} holds them"
            )
        self._file.write(self._encoder.encode(piece, highest))
