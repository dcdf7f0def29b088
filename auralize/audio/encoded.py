"""A sound file that libsndfile encodes, one block after the other."""

from pathlib import Path
from typing import Any, Final

import soundfile as sf
from numpy.typing import NDArray

from auralize.audio.depth import WORDS, Depth, Encoder
from auralize.audio.portion import PIECE, found_finite
from auralize.errors import AudioFileError

HIGHEST_FLOAT: Final = (2.0 - 2.0**-23) * 2.0**127
"""The highest that a float of 32 bits holds (IEEE 754)."""


class Encoded:
    """Takes blocks for a file that will be ``path``. Raises AudioFileError for what it cannot hold."""

    def __init__(self, file: sf.SoundFile, path: Path, depth: Depth, dither_seed: int) -> None:
        self._file, self._path, self._depth = file, path, depth
        self._encoder = Encoder(depth, dither_seed)
        self.written = 0
        """Frames so far."""
        self.highest = 0.0
        """Magnitude of any sample so far."""

    @property
    def clipped(self) -> int:
        """Samples over full scale so far."""
        return self._encoder.clipped

    @property
    def closed(self) -> bool:
        return self._file.closed

    def close(self) -> None:
        """Raises what soundfile does, as `write` does too."""
        self._file.close()

    def write(self, block: NDArray[Any]) -> None:
        """Add (n, channels), any n."""
        for at in range(0, len(block), PIECE):
            piece = block[at : at + PIECE]
            highest = found_finite(self._path, self._file.samplerate, self.written, piece)
            self.highest = max(self.highest, highest)
            if self._depth == "FLOAT" and highest > HIGHEST_FLOAT:
                raise AudioFileError(
                    f"{self._path} would get samples beyond the range of {WORDS['FLOAT']}; "
                    f"{WORDS['DOUBLE']} holds them"
                )
            self._file.write(self._encoder.encode(piece, highest))
            self.written += len(piece)
