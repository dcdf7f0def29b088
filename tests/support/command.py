"""A folder to run the command in, and what a run of it says and leaves."""

import json
import math
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
AURALIZE = Path(sys.executable).parent / "auralize"
"""The console command of the environment that runs the tests."""
OK, BAD_INPUT, INTERRUPTED = 0, 2, 130
RATE = 8_000
"""Hz; the lowest there is, so that filters are short and quickly made."""
# 100 m of cable measured at 10 ohm/km is 1 ohm in the loop, before 8 ohm: everything at low
# frequency follows by hand, 8/9 and 1/9. At 2.5 ohm/km it is 8/8.25 and 0.25/8.25.
RIG = """
title = "Saltmarsh Tide Mill: the path to the sluice"

[amplifier]
resistance = "0 ohm"

[cables.thin]
construction = "measured"
resistance = "10 ohm/km"
inductance = "1 nH/m"

[cables.thick]
construction = "measured"
resistance = "2.5 ohm/km"
inductance = "1 nH/m"

[runs.path]
length = "100 m"

[loads.sluice]
type = "resistor"
resistance = "8 ohm"

[choices.thin]
label = "what is there"
runs.path.cable = "thin"

[choices.thick]
label = "what could be bought"
runs.path.cable = "thick"
"""
ARRIVES = {"thin": 8.0 / 9.0, "thick": 8.0 / 8.25}
KEPT = {"thin": 1.0 / 9.0, "thick": 0.25 / 8.25}


def decibels(ratio: float) -> float:
    return 20.0 * math.log10(ratio)


class Bench(NamedTuple):
    """A folder with a rig file, a programme, and an empty folder for results."""

    folder: Path

    @property
    def rig(self) -> Path:
        return self.folder / "sluice.toml"

    @property
    def programme(self) -> Path:
        return self.folder / "bells.wav"

    @property
    def results(self) -> Path:
        return self.folder / "results"

    def run(self, *arguments: object, **environment: str) -> subprocess.CompletedProcess[str]:
        """The command in this folder, standard output and error apart and no terminal near."""
        return subprocess.run(
            [AURALIZE, *map(str, arguments)],
            cwd=self.folder,
            env={**os.environ, **environment},
            stdin=subprocess.DEVNULL,
            capture_output=True,
            encoding="utf-8",
            errors="surrogateescape",
            timeout=60,
            check=False,
        )

    def render(self, *options: object, rig: object = None, sound: object = None) -> Any:
        """`render` into the folder for results, with these options."""
        files = (rig or self.rig, sound or self.programme)
        return self.run("render", *files, "--into", self.results, *options)

    def left(self) -> set[str]:
        """Names of all that is in the folder for results, hidden files too."""
        return set(os.listdir(self.results))


def tone(seconds: float = 0.5, channels: int = 2, rate: int = RATE) -> Array:
    """100 Hz at -10 dBFS under a Hann window: the cable's inductance is under 1e-5 ohm there."""
    n = np.arange(round(seconds * rate))
    wave = 0.3 * np.sin(2.0 * np.pi * 100.0 * n / rate) * np.hanning(len(n))
    return np.stack([wave * (1.0 - 0.5 * c) for c in range(channels)], axis=1)


def refusal(result: Any) -> str:
    """The one sentence of a run that was refused; nothing else may have been said."""
    assert result.returncode == BAD_INPUT, result.stderr
    assert result.stdout == ""
    assert result.stderr.startswith("auralize: ")
    assert result.stderr.endswith("\n")
    sentence: str = result.stderr[:-1].removeprefix("auralize: ")
    assert "\n" not in sentence, sentence
    assert "Traceback" not in sentence
    return sentence


def output(result: Any) -> str:
    """Standard output of a run that went well, and said nothing on standard error."""
    assert result.stderr == ""
    assert result.returncode == OK
    text: str = result.stdout
    return text


def orderly(result: Any) -> None:
    """Either it went well and quietly, or it was refused in one sentence: never a traceback."""
    if result.returncode == OK:
        assert result.stderr == ""
    else:
        refusal(result)


# `main` is the entry point of the console command; called in this process it takes a tenth of the time.


class Told(NamedTuple):
    """The same fields as a finished process has."""

    returncode: int
    stdout: str
    stderr: str


Tell = Callable[..., Told]
RENDER = ("render", "sluice.toml", "bells.wav", "--into", "results")
ANEW = ("render", "sluice.toml", "bells.wav", "--into", "new/folder")
FILTER = ("filter", "sluice.toml")


def facts(bench: Bench, name: str) -> Any:
    return json.loads((bench.results / name).read_text(encoding="utf-8"))
