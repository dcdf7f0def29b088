"""Files that are spoilt a little, and what reading one comes to."""

from __future__ import annotations

import io
import math
import random
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any, Final

import numpy as np
import soundfile as sf

from auralize.audio.bands import THIRD_OCTAVES
from auralize.audio.reader import read_blocks
from auralize.circuit.loudspeaker import Driver
from auralize.errors import AuralizeError
from auralize.figures import data
from auralize.figures.numbers import figures
from auralize.figures.text import as_table
from auralize.rig.measured import read_cable, read_impedance
from auralize.rig.reading import load_rig
from auralize.trials.checking import verify
from support.rig_loads import DRIVER, MEASURED, TAP, crossover, text

LOGS: Final = Path(__file__).parents[1] / "trials" / "logs"
DEMO: Final = Path(__file__).parents[2] / "audio_demo"
F: Final = np.geomspace(1.0, 1e5, 41)

TABLE: Final = "# Hz ohm degrees\n20 8 0\n40 9.5 20\n80 8 0\n160 7 -10\n320 6.5 3\n"
_BOX: Final = Driver(5.6, 38.0, 4.2, 0.42, 0.4e-3, stiffness_ratio=1.5)
_THIRDS: Final = [(hz, complex(_BOX.impedance(np.array([hz]))[0])) for hz in THIRD_OCTAVES]
THIRDS: Final = "Freq (kHz);Re(Z) (ohm);Im(Z) (ohm)\n" + "".join(
    f"{hz / 1e3:g};{z.real:.2f};{z.imag:.2f}\n" for hz, z in _THIRDS
)
ALONE: Final = "Frequency\tImpedance\nHz\tmohm\n" + "".join(
    f"{hz:g}\t{1e3 * abs(z):.0f}\n" for hz, z in _THIRDS
)
CABLE: Final = "".join(f"{f} 0.0148 6.5e-7 6e-11\n" for f in (20, 200, 2000, 20000, 200000))
ONE_PORT: Final = "# HZ S RI R 50\n" + "".join(f"{f} -0.7 0.1\n" for f in (20, 40, 80, 160, 320))
TWO_PORT: Final = "# HZ S MA R 50\n" + "".join(
    f"{f} 0.003 5 0.997 -0.1 0.997 -0.1 0.003 5\n" for f in (20, 200, 2000, 20000)
)
ANOTHER: Final = ("1e308", "-1", "0", "nan", "inf", "1e-308", "9" * 400, "\x00", "\x1b[2J", '"', "")
"""What a token may become."""


def _sound(form: str, subtype: str) -> bytes:
    file, wave = io.BytesIO(), 0.3 * np.sin(np.arange(800) / 7.0)
    sf.write(file, np.stack([wave, wave], axis=1), 48_000, subtype, format=form)
    return file.getvalue()


def seeds() -> dict[str, list[bytes]]:
    """Valid files by the name that they are read under."""
    cable = 'construction = "measured"\nfile = "cable.txt"'
    more = f"[transformers.tap]\n{TAP}"
    rigs = [
        text(DRIVER),
        text(crossover("series 1 mH 0.3 ohm", "shunt 22 uF")),
        text(MEASURED + 'file = "z.txt"', cable=cable),
        text(more=more, load='at = "quay"\ntype = "resistor"\nresistance = "8 ohm"\n'),
        *(path.read_text("utf-8") for path in sorted(DEMO.glob("*.toml"))),
    ]
    return {
        "rig.toml": [rig.encode() for rig in rigs],
        "table.txt": [table.encode() for table in (TABLE, THIRDS, ALONE)],
        "pair.txt": [CABLE.encode()],
        "load.s1p": [ONE_PORT.encode()],
        "pair.s2p": [TWO_PORT.encode()],
        "log.jsonl": [path.read_bytes() for path in sorted(LOGS.glob("*.jsonl"))],
        "sound.wav": [_sound("WAV", kind) for kind in ("PCM_16", "PCM_24", "FLOAT")],
        "sound.flac": [_sound("FLAC", "PCM_16")],
        "sound.ogg": [_sound("OGG", "VORBIS")],
        "sound.aiff": [_sound("AIFF", "PCM_16")],
        "sound.w64": [_sound("W64", "PCM_24")],
        "sound.mp3": [_sound("MP3", "MPEG_LAYER_III")],
    }


def beside(folder: Path) -> None:
    """Put the files there that the rigs name."""
    (folder / "z.txt").write_text(TABLE)
    (folder / "cable.txt").write_text(CABLE)


_TOKEN: Final = re.compile(rb"[A-Za-z_]+|[-+]?[\d.]+(?:[eE][-+]?\d+)?|[^\sA-Za-z\d]")


def spoilt(content: bytes, chance: random.Random) -> bytes:
    """The content with one to four faults: bytes flipped, cut or doubled, tokens swapped or scaled."""
    ways = (_flipped, _cut, _doubled, _swapped, _replaced, _scaled, _scaled, _scaled)
    for _ in range(chance.choice((1, 1, 1, 2, 4))):
        content = chance.choice(ways)(content or b"\n", chance)
    return content


def _flipped(content: bytes, chance: random.Random) -> bytes:
    at = chance.randrange(len(content))
    return content[:at] + bytes([content[at] ^ 1 << chance.randrange(8)]) + content[at + 1 :]


def _slice(content: bytes, chance: random.Random) -> tuple[int, int]:
    begin = chance.randrange(len(content))
    return begin, begin + chance.randint(1, max(1, len(content) // 8))


def _cut(content: bytes, chance: random.Random) -> bytes:
    begin, end = _slice(content, chance)
    return content[:begin] if chance.random() < 0.3 else content[:begin] + content[end:]


def _doubled(content: bytes, chance: random.Random) -> bytes:
    begin, end = _slice(content, chance)
    return content[:begin] + content[begin:end] * chance.choice((2, 2, 50)) + content[end:]


def _swapped(content: bytes, chance: random.Random) -> bytes:
    tokens = list(_TOKEN.finditer(content))
    if len(tokens) < 2:
        return content
    one, other = sorted(chance.sample(tokens, 2), key=lambda token: token.start())
    between = content[one.end() : other.start()]
    return content[: one.start()] + other[0] + between + one[0] + content[other.end() :]


def _replaced(content: bytes, chance: random.Random) -> bytes:
    tokens = list(_TOKEN.finditer(content))
    if not tokens:
        return content
    token = chance.choice(tokens)
    return content[: token.start()] + chance.choice(ANOTHER).encode() + content[token.end() :]


_NUMBER: Final = re.compile(rb"\d+(?:\.\d+)?(?:e[-+]?\d+)?")


def _scaled(content: bytes, chance: random.Random) -> bytes:
    """A number some powers of ten larger or smaller: what a wrong unit does, which often still reads."""
    numbers = list(_NUMBER.finditer(content))
    if not numbers:
        return content
    number = chance.choice(numbers)
    scaled = f"{float(number[0]) * 10.0 ** chance.randint(-9, 9):g}".encode()
    return content[: number.start()] + scaled + content[number.end() :]


# ---- reading ---------------------------------------------------------------------------------------


def _rig(path: Path) -> None:
    rig = load_rig(path)
    found = [
        figures(choice, (0.0, 20.0, 1e3, 2e4, 1e6)) for choice in list(rig.choices.values())[:3]
    ]
    as_table(rig.title, found)
    data.as_json(rig.title, found)
    data.as_csv(found)
    assert not any(map(math.isnan, _floats([one.as_dict() for one in found]))), "a figure is nan"


def _floats(value: Any) -> Iterator[float]:
    if isinstance(value, dict):
        value = list(value.values())
    if isinstance(value, list | tuple):
        for inner in value:
            yield from _floats(inner)
    elif isinstance(value, float):
        yield value


def _load(path: Path) -> None:
    assert np.isfinite(read_impedance(path).load().impedance(F)).all(), "an impedance is nan or inf"


def _cable(path: Path) -> None:
    cable = read_cable(path, 20.0 if path.suffix == ".s2p" else None)
    assert np.isfinite(cable.series(F)).all(), "a cable's impedance is nan or inf"
    assert np.isfinite(cable.shunt(F)).all(), "a cable's admittance is nan or inf"


def _log(path: Path) -> None:
    assert all(verify(path).sentences), "a log without a sentence"


def _samples(path: Path) -> None:
    assert all(np.isfinite(block).all() for block in read_blocks(path, 256)), "a sample is nan"


READERS: Final[dict[str, Callable[[Path], None]]] = {
    "rig.toml": _rig,
    "table.txt": _load,
    "pair.txt": _cable,
    "load.s1p": _load,
    "pair.s2p": _cable,
    "log.jsonl": _log,
    "sound.wav": _samples,
    "sound.flac": _samples,
    "sound.ogg": _samples,
    "sound.aiff": _samples,
    "sound.w64": _samples,
    "sound.mp3": _samples,
}


def read(path: Path) -> bool:
    """Read a file by its name: True where it was right, False where it was refused in one sentence.

    Any other exception is a fault of the reader.
    """
    try:
        READERS[path.name](path)
        return True
    except AuralizeError as error:
        told = str(error)
    assert told.isprintable(), "a refusal of several lines"
    assert len(told) < 3000 + len(str(path)), "a refusal of more than a screen"
    return False
