"""Hours of play without a device: place, sound, memory, and what silence costs.

    python tests/benchmarks/bench_play.py [HOURS]

plays a programme of a minute round and round for 8 h at 48 kHz, as fast as it goes (half an hour on
a busy machine), with another choice, or the source, about once a second. Two thirds of the programme are
noise, then it is silent, and then so near to silence (1e-310) that only denormal numbers tell it. After each
block the place is held against the number of blocks; at the end of each row that plays the source, what
is heard against the file. Ends with exit code 1 where anything is amiss.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

import numpy as np
import soundfile as sf
from bench_callback import BLOCK, RATE, RIG, ROW, _resident, _signals, _wait_for_the_reader
from numpy.typing import NDArray

from auralize.gains import SOURCE, Heard
from auralize.live.listening import Listening
from auralize.live.sources import FileFeed
from auralize.live.wanted import Wanted
from auralize.rig.reading import load_rig

SECTIONS: Final = {"sound": 0.1, "silence": 0.0, "denormal": 1e-310}
"""What follows what, and its level; a third of a minute each, but for the sound, which has two."""
THIRD: Final = 20 * RATE
ODD: Final = 137
"""Frames more than a minute, so that no pass through it begins where a block does."""
WARM: Final = 500
"""Rows after which memory is compared; the programme has been played eight times then."""
MOST_GROWN: Final = 4.0
"""MB of resident memory, the allocator's own unrest."""
MOST_ERROR: Final = 1e-6
"""Of the loudest sample: what is heard is in 32-bit floats."""
MOST_SLOWER: Final = 1.5
"""Median of the time for a block of silence over that of sound."""


def programme() -> NDArray[np.float64]:
    """(frames, 2) of sound, silence, and what is all but silence."""
    noise = np.random.default_rng(1).normal(0.0, 1.0, (4 * THIRD + ODD, 2))
    levels = np.repeat(list(SECTIONS.values()), [2 * THIRD + ODD, THIRD, THIRD])
    return noise * levels[:, None]


@contextmanager
def playing(samples: NDArray[np.float64]) -> Iterator[Listening]:
    """The demonstration's choices, that programme, from its start."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "hours.wav"
        sf.write(source, samples, RATE, subtype="DOUBLE")
        wanted = Wanted(dict(load_rig(RIG).choices))
        listening = Listening(FileFeed(source), RATE, wanted, lambda event: None)
        try:
            while listening.status().certainty != "measured" or not listening.transport.primed:
                time.sleep(0.05)
            listening.transport.loop(0, len(samples))
            listening.transport.play()
            yield listening
        finally:
            listening.close()


class Watch:
    """What was seen of the play."""

    def __init__(self, samples: NDArray[np.float64], rows: int) -> None:
        self.samples, self.blocks = samples, 0
        self.astray = self.denormals = self.compared = 0
        self.gain, self.error = 0.0, 0.0
        self.times = np.ones((rows, ROW), np.float32)
        self.section = np.zeros(rows, np.int8)

    def block(self, listening: Listening, out: NDArray[np.float32]) -> None:
        """One block more: it must end where so many blocks do."""
        listening.render(out)
        self.blocks += 1
        end = (self.blocks * BLOCK - 1) % len(self.samples) + 1
        self.astray += listening.transport.position != end

    def compare(self, listening: Listening, out: NDArray[np.float32]) -> None:
        """The source must be heard as it is in the file, with the gain that it had at first."""
        delay = int(listening._known.voice(SOURCE).taps.argmax())  # as late as all that is filtered
        end = (self.blocks * BLOCK - 1) % len(self.samples) + 1 - delay
        if not 2 * BLOCK <= end <= 2 * THIRD:
            return
        heard, file = out.astype(np.float64), self.samples[end - BLOCK : end]
        gain = float(np.vdot(file, heard) / np.vdot(file, file))
        self.gain = self.gain or gain
        self.error = max(self.error, float(np.abs(heard - self.gain * file).max() / abs(gain)))
        self.compared += 1

    def look(self, listening: Listening, row: int) -> None:
        """Which section this row was in from end to end (else -1), and what is left in the filters."""
        inside = [(b * BLOCK) % len(self.samples) for b in (self.blocks - ROW, self.blocks)]
        kinds = [max(0, (frame - ODD) // THIRD - 1) for frame in inside]
        self.section[row] = kinds[0] if kinds[0] == kinds[1] else -1
        convolver = listening.player._convolver
        for state in (convolver._spectra, convolver._window):
            size = np.abs(state.view(np.float64))
            self.denormals += int(np.count_nonzero((size > 0.0) & (size < np.finfo(float).tiny)))


def _switch(listening: Listening, heard: Heard) -> None:
    """Fade over within the next block, however busy the machine is."""
    asked = listening.player._asked
    listening.hear(heard)
    while listening.player._asked == asked:
        time.sleep(0.0005)


def play(hours: float) -> bool:
    """Play for so long; print what was found, and whether all of it was as it should be."""
    samples, rows = programme(), round(hours * 3600 * RATE / BLOCK / ROW)
    watch, out = Watch(samples, rows), np.zeros((BLOCK, 2), np.float32)
    resident = [0]
    with playing(samples) as listening:
        cycle: list[Heard] = [SOURCE, *_signals(listening)]
        for row in range(rows):
            heard = cycle[row % len(cycle)]
            _switch(listening, heard)
            _wait_for_the_reader(listening)
            for number in range(ROW):
                began = time.perf_counter()
                watch.block(listening, out)
                watch.times[row, number] = time.perf_counter() - began
            watch.look(listening, row)
            if heard is SOURCE:
                watch.compare(listening, out)
            if row == min(WARM, rows // 4):
                resident = [_resident()]
            elif row > WARM and row % (rows // 8) == 0:
                resident.append(_resident())
        starved, switches = listening.transport.starved, listening.player.switches
    resident.append(_resident())
    return told(hours, watch, starved, switches, [size - resident[0] for size in resident[1:]])


def told(hours: float, watch: Watch, starved: int, switches: int, grown: list[int]) -> bool:
    """Print it; True where all is well."""
    medians = {
        name: float(np.median(watch.times[watch.section == kind, 1:]))
        for kind, name in enumerate(SECTIONS)
    }
    megabytes = [round(size / 1e6, 1) for size in grown]
    times = ", ".join(f"{name} {1e6 * took:.0f} us" for name, took in medians.items())
    sys.stdout.write(
        f"{hours:g} h, {watch.blocks} blocks, {switches} switches, {starved} starved\n"
        f"  {watch.astray} blocks were elsewhere than so many blocks lead to\n"
        f"  {watch.compared} blocks of the source held against the file: error {watch.error:.1e}\n"
        f"  resident memory, MB more than after {WARM} rows: {megabytes}\n"
        f"  {watch.denormals} denormal numbers in the filters at the ends of rows\n"
        f"  median time of a block: {times}\n"
    )
    slower = max(medians.values()) / medians["sound"]
    well = not (watch.astray or starved or watch.denormals) and watch.compared > 0
    return bool(
        well and watch.error <= MOST_ERROR and megabytes[-1] <= MOST_GROWN and slower <= MOST_SLOWER
    )


if __name__ == "__main__":
    sys.exit(0 if play(float(sys.argv[1]) if len(sys.argv) > 1 else 8.0) else 1)
