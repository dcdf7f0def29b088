"""Time and memory of whole processes against those that do the same, or a part of it, by other means.

    python tests/benchmarks/bench_against.py                           # one, six, loudness: 10 min, 7 rounds
    python tests/benchmarks/bench_against.py --quick                   # the same of 1 min, 3 rounds
    python tests/benchmarks/bench_against.py one six --minutes 60 --rounds 3 --json found.json
    python tests/benchmarks/bench_against.py length --lengths 1 10 60 360
    python tests/benchmarks/bench_against.py channels taps choices
    python tests/benchmarks/bench_against.py design block screen       # under 2 min

Rounds are interleaved: each runs every row once, in an order of its own, and a ratio is the median of the
ratios of the rounds, so that whatever else a machine does falls on all alike. Stereo (or --channels) of
48 kHz, 24 bit: the demonstration's programme again and again, or noise (--noise). `ffmpeg`, `sox` and
`pyloudnorm` are used where installed.

Three parts are measured inside one process each. `design`: the filters of a choice, no cache filled, and
those of as many taps by SciPy's window method. `block`: what the callback takes, the time that a block lasts,
SciPy's convolution of the same. `screen`: the key to another choice on the bench while it plays, and a key in
a bare app; until it says what is heard the bench waits for its next look at the engine, 0.1 s at most.

Peak MB is what all processes of a row have together, where pages are in common each its share (PSS); it is
looked at every 30 ms in a round before the timed ones. Elsewhere than on Linux it is the largest process in
any round; nothing large is imported here, as a child's peak begins at its parent's there.
"""

from __future__ import annotations

import argparse
import json
import random
import shutil
import sys
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import asdict
from pathlib import Path
from statistics import median

from processes import SUMS, Command, columns, inside, run, told
from timings import Bar, Timing, ratio, table

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RESULTS = "results"
CHOICES = ("reel", "bought", "beams")


def main() -> None:
    asked = _asked()
    found: list[dict[str, object]] = []
    bars: list[dict[str, object]] = []
    for name in asked.parts:
        with tempfile.TemporaryDirectory(dir=asked.folder) as folder:
            rows, measured = PART[name](asked, Path(folder))
        print(f"\n{name}, median of {asked.rounds}; sounds of {asked.minutes:g} min unless said")
        print(table(rows))
        for bar in measured:
            print(bar.told)
        found += [{"part": name} | asdict(row) for row in rows]
        bars += [{"part": name} | asdict(bar) | {"met": bar.met} for bar in measured]
    given = {"minutes": asked.minutes, "rounds": asked.rounds}
    if asked.json:
        asked.json.write_text(json.dumps(given | {"rows": found, "bars": bars}, indent=1))


def _asked() -> argparse.Namespace:
    parser = argparse.ArgumentParser()
    parser.add_argument("parts", nargs="*", metavar="PART", help=", ".join(PART))
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--rounds", type=int, default=7)
    parser.add_argument("--lengths", type=float, nargs="+", default=[1.0, 10.0, 60.0])
    parser.add_argument("--channels", type=int, default=2)
    parser.add_argument("--noise", action="store_true")
    parser.add_argument("--quick", action="store_true", help="1 min, 3 rounds")
    parser.add_argument("--json", type=Path)
    parser.add_argument("--folder", type=Path, help="for sounds, 6 GB for 6 h and as many a result")
    asked = parser.parse_args()
    asked.parts = asked.parts or ["one", "six", "loudness"]
    if unknown := set(asked.parts) - set(PART):
        parser.error(f"{', '.join(sorted(unknown))}: no such part; there are {', '.join(PART)}")
    if asked.quick:
        asked.minutes, asked.rounds = 1.0, 3
    return asked


# --- what is run ----------------------------------------------------------------------------------


def compared(rows: dict[str, list[Command]], rounds: int, folder: Path) -> list[Timing]:
    """Each row's commands one after the other; all rows once before, untimed, then in every round.

    Each round has an order of its own: memory that a large one gave up is new to those behind it, and new
    pages take time. Memory is looked at in round 0 where that takes time, else in all rounds.
    All write into `results`, which is empty when a row begins: that nothing has to be replaced.
    """
    found = {name: Timing(name) for name in rows}
    for number in range(rounds + 1):
        for name, commands in random.Random(number).sample([*rows.items()], len(rows)):
            print(f"\r{number}/{rounds} {name:<60}", end="", file=sys.stderr, flush=True)
            shutil.rmtree(folder / RESULTS, ignore_errors=True)
            (folder / RESULTS).mkdir()
            each, row = [run(command, looked_at=not number) for command in commands], found[name]
            if number:
                row.seconds.append(sum(one.seconds for one in each))
                row.processor.append(sum(one.processor for one in each))
            if not (number and SUMS):
                row.memory = max(row.memory, *(one.memory for one in each))
    print("\r" + 70 * " ", end="\r", file=sys.stderr)
    return list(found.values())


def auralize(*arguments: object) -> Command:
    program = "import sys; from auralize.commands.main import main; sys.exit(main())"
    return [sys.executable, "-c", program, *map(str, arguments)]


def render(rig: Path, source: Path, folder: Path, *more: str) -> Command:
    return auralize("render", rig, source, "--into", folder / RESULTS, *more)


def programme(asked: argparse.Namespace, folder: Path, minutes: float, channels: int) -> Path:
    path = folder / f"programme-{minutes:g}-{channels}.wav"
    told(inside("make_programme", path, minutes, channels, not asked.noise))
    return path


def taps_of(rig: Path, choice: str, signal: str, folder: Path) -> Path:
    """What `auralize filter` exports, taken out of the way of the next."""
    into = folder / f"{rig.stem}-{choice}-{signal}"
    told(auralize("filter", rig, "--choice", choice, "--signal", signal, "--into", into))
    (path,) = into.glob("*.wav")
    return path


def afir(source: Path, taps: Path, result: Path, *, measuring: bool = False) -> Command:
    """The same taps on the same source, to 24 bit; with loudness and true peak of source and result."""
    through = "afir=gtype=none:irfmt=mono"
    graph = f"[0:a][1:a]{through}[out]"
    if measuring:
        meter = "ebur128=peak=true,anullsink"
        graph = f"[0:a]asplit[dry][s];[s]{meter};[dry][1:a]{through},asplit[out][r];[r]{meter}"
    inputs = ["-i", str(source), "-i", str(taps), "-filter_complex", graph, "-map", "[out]"]
    encoded = ["-c:a", "pcm_s24le", "-rf64", "auto", str(result)]
    return ["ffmpeg", "-nostdin", "-v", "error", "-y", *inputs, *encoded]


def _installed(*programs: str) -> bool:
    missing = [program for program in programs if not shutil.which(program)]
    for program in missing:
        print(f"{program} is not installed: its rows are left out")
    return not missing


# --- the parts ------------------------------------------------------------------------------------

Found = tuple[list[Timing], list[Bar]]
LONGEST_WHOLE = 20.0
"""min that SciPy convolves at once: it takes 0.3 GB a minute."""


def one(asked: argparse.Namespace, folder: Path) -> Found:
    """One output against all else."""
    source = programme(asked, folder, asked.minutes, asked.channels)
    taps, text = taps_of(RIG, "reel", "receiving", folder), folder / "taps.txt"
    told(inside("as_text", taps, text))
    result = folder / RESULTS / "result.wav"
    ours = render(RIG, source, folder, "--choice", "reel", "--signals", "receiving")
    rows: dict[str, list[Command]] = {"auralize render, one output": [ours]}
    if _installed("ffmpeg"):
        rows["ffmpeg afir"] = [afir(source, taps, result)]
        rows["ffmpeg doing the same work"] = [afir(source, taps, result, measuring=True)]
    if _installed("sox"):
        rows["sox fir"] = [["sox", "-D", str(source), str(result), "fir", str(text)]]
    if asked.minutes * asked.channels <= 2 * LONGEST_WHOLE:
        rows["scipy oaconvolve"] = [inside("convolve", source, taps, result)]
    rows["plain copy"] = [["cp", str(source), str(result)]]
    found = compared(rows, asked.rounds, folder)
    most = 1.0 if asked.minutes >= 60 else 1.5
    limits = {"ffmpeg afir": most, "ffmpeg doing the same work": 0.3}
    bars = [
        Bar(f"one output, of the time of {row.name}", found[0].ratio(row), limits[row.name])
        for row in found
        if row.name in limits
    ]
    return found, bars


def six(asked: argparse.Namespace, folder: Path) -> Found:
    """Six outputs against one, and against others' six, one after the other."""
    source = programme(asked, folder, asked.minutes, asked.channels)
    single = render(RIG, source, folder, "--choice", "reel", "--signals", "receiving")
    rows: dict[str, list[Command]] = {
        "auralize render, six outputs": [render(RIG, source, folder)],
        "auralize render, one output": [single],
    }
    if _installed("ffmpeg"):
        signals = [(choice, signal) for choice in CHOICES for signal in ("receiving", "drop")]
        taps = [taps_of(RIG, choice, signal, folder) for choice, signal in signals]
        rows["ffmpeg afir, six"] = [
            afir(source, path, folder / RESULTS / f"{number}.wav")
            for number, path in enumerate(taps)
        ]
    found = compared(rows, asked.rounds, folder)
    return found, [Bar("six outputs, of the time of one", found[0].ratio(found[1]), 3.0)]


def loudness(asked: argparse.Namespace, folder: Path) -> Found:
    """The meter alone on an array, in one process with pyloudnorm."""
    mine, double, others, apart = columns(inside("loudness", asked.minutes, asked.rounds + 1))
    ours = Timing("auralize, loudness alone", seconds=mine)
    exact = Timing("auralize, in double precision", seconds=double)
    theirs = Timing("pyloudnorm", seconds=others)
    bars = [
        Bar("loudness alone, of the time of pyloudnorm", ours.ratio(theirs), 0.2),
        Bar("apart, LU", max(map(abs, apart)), 0.1),
    ]
    return [ours, exact, theirs], bars


def design(asked: argparse.Namespace, folder: Path) -> Found:
    """Filters of a choice by the exact response, and by SciPy's window method, in one process."""
    rows, rates = [], (48, 192)
    taken = columns(inside("design", asked.rounds + 1, *rates))
    for rate, mine, others in zip(rates, taken[::2], taken[1::2], strict=True):
        rows.append(Timing(f"auralize, filters at {rate} kHz", seconds=mine, heads=True))
        rows.append(Timing(f"scipy firwin2 at {rate} kHz", seconds=others))
    return rows, []


def block(asked: argparse.Namespace, folder: Path) -> Found:
    """What the audio callback takes for a block, in rows of them as fast as they go."""
    mine, slowest, lasts, whole = columns(inside("block", asked.rounds + 1))
    rows = [
        Timing("auralize, a block played", seconds=mine),
        Timing("the time that a block lasts", seconds=lasts),
        Timing("scipy oaconvolve, all in one go", seconds=whole),
    ]
    most = Bar("p99 of a block, of the time that it lasts", ratio(slowest, lasts), 0.02)
    return rows, [most]


def screen(asked: argparse.Namespace, folder: Path) -> Found:
    """The key to another choice while the bench plays, in the median of ten keys."""
    names = (
        "auralize bench, what is heard",
        "auralize bench, list and curves",
        "a bare app of Textual",
    )
    taken = columns(inside("screen", asked.rounds + 1, of="keys_painted"))
    return [Timing(name, seconds=one) for name, one in zip(names, taken, strict=True)], []


def scaled(rows: dict[float, Command], words: str, rounds: int, folder: Path) -> list[Timing]:
    """One row for each size."""
    found = compared({f"{size:g} {words}": [one] for size, one in rows.items()}, rounds, folder)
    for row, size in zip(found, rows, strict=True):
        row.size = size
    return found


def length(asked: argparse.Namespace, folder: Path) -> Found:
    """Whether each further minute costs the same, in time of the processor, which others do not lengthen."""
    rows = {
        minutes: render(
            RIG,
            programme(asked, folder, minutes, asked.channels),
            folder,
            *("--choice", "reel", "--signals", "receiving"),
        )
        for minutes in sorted(asked.lengths)
    }
    found = scaled(rows, "min", asked.rounds, folder)
    cost = [median(row.processor) for row in found]
    each = [
        (cost[k + 1] - cost[k]) / (found[k + 1].size - found[k].size) for k in range(len(cost) - 1)
    ]
    bars = [Bar(f"peak memory at {found[-1].size:g} min, MB", found[-1].memory, 130.0)]
    if len(each) > 1:
        words = "a further minute, the longest against the shortest, less 1"
        bars.append(Bar(words, each[-1] / each[0] - 1.0, 0.05))
    return found, bars


def channels(asked: argparse.Namespace, folder: Path) -> Found:
    rows = {
        count: render(
            RIG, programme(asked, folder, asked.minutes, count), folder, "--choice", "reel"
        )
        for count in (1, 2, 6, 8)
    }
    return scaled(rows, "channels", asked.rounds, folder), []


def taps(asked: argparse.Namespace, folder: Path) -> Found:
    """Filters as long as the loudspeaker rings: the lower it resonates, the longer."""
    source = programme(asked, folder, asked.minutes, asked.channels)
    rows = {}
    for resonance in (200, 60, 38, 25):
        rig = folder / f"at-{resonance}-Hz.toml"
        rig.write_text(RIG.read_text("utf-8").replace('fs = "38 Hz"', f'fs = "{resonance} Hz"'))
        exported = taps_of(rig, "reel", "receiving", folder)
        count = float(told(inside("as_text", exported, folder / "taps.txt")))
        rows[count] = render(rig, source, folder, "--choice", "reel")
    return scaled(rows, "taps", asked.rounds, folder), []


def choices(asked: argparse.Namespace, folder: Path) -> Found:
    """The demonstration's reel at as many lengths as there are choices, two outputs of each."""
    source = programme(asked, folder, asked.minutes, asked.channels)
    rows = {}
    for count in (1, 3, 6, 12):
        rig = folder / f"choices-{count}.toml"
        rig.write_text(RIG.read_text("utf-8").partition("[choices.")[0] + "".join(_further(count)))
        rows[count] = render(rig, source, folder)
    return scaled(rows, "choices", asked.rounds, folder), []


def _further(count: int) -> Iterator[str]:
    for number in range(count):
        where = f"[choices.at-{number}]\nruns.pond"
        yield f'\n{where}.cable = "reel"\nruns.pond.length = "{40 + 2 * number} m"\n'


PART: dict[str, Callable[[argparse.Namespace, Path], Found]] = {
    "one": one,
    "six": six,
    "loudness": loudness,
    "length": length,
    "channels": channels,
    "taps": taps,
    "choices": choices,
    "design": design,
    "block": block,
    "screen": screen,
}


if __name__ == "__main__":
    main()
