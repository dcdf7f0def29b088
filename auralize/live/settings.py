"""What was set at the bench, kept beside the rig in a file of ours: read again when the rig is opened."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from auralize.circuit.signals import SIGNALS, Signal
from auralize.circuit.solution import ACROSS, Across
from auralize.errors import AuralizeError, FileError
from auralize.files import encoded, read_bounded, write_bytes
from auralize.gains import INSTALLED, MOST_MAKEUP, DropsWay, Match
from auralize.outputs import InTheWayError, check_ours, fingerprint, marked

CALL: Final = fingerprint("settings of the bench")
"""What the file is marked with."""
_SUFFIX: Final = ".toml"
_MOST_BYTES: Final = 1_000_000
_HEAD: Final = (
    "# What was set at the bench for the rig file beside this one; the bench reads it again.\n"
)


@dataclass(frozen=True)
class Settings:
    """What is heard and how; the volume belongs to its device."""

    chosen: str
    signal: Signal | None = "receiving"
    """None: the source."""
    across: Across = "both"
    match: Match = INSTALLED
    drops: DropsWay = "one"
    makeup: float | None = None
    """dB; None: chosen."""
    loop: tuple[float, float] | None = None
    """s"""
    pinned: tuple[str, ...] = ()
    markers: Mapping[str, float] = field(default_factory=dict)
    """s"""


def settings_path(rig: Path) -> Path:
    """Where the settings for a rig file stand: ``mill.bench.toml`` beside ``mill.toml``."""
    return rig.with_name(f"{rig.name.removesuffix(_SUFFIX)}.bench{_SUFFIX}")


def keep(rig: Path, settings: Settings) -> Path:
    """Write them, never over a file that is not as we left it; raises FileError."""
    path = settings_path(rig)
    _check_ours(path)
    write_bytes(path, marked(encoded(_HEAD + _text(settings)), _SUFFIX, CALL))
    return path


def throw_away(rig: Path) -> None:
    """Remove them, if they are as we left them; raises FileError."""
    path = settings_path(rig)
    _check_ours(path)
    try:
        path.unlink(missing_ok=True)
    except OSError as error:
        raise FileError(f"{path} cannot be removed: {(error.strerror or '').lower()}") from None


def kept(rig: Path, choices: Collection[str], length: float) -> Settings | None:
    """Those that are kept, less what no longer fits the rig or a programme of ``length`` s.

    None where there are none. Raises FileError for a file that is not as we left it.
    """
    path = settings_path(rig)
    if not path.exists():
        return None
    _check_ours(path)
    try:
        said = tomllib.loads(read_bounded(path, _MOST_BYTES).decode())
    except (OSError, ValueError) as error:
        raise FileError(f"{path} cannot be read: {error}") from None
    return _read(said, choices, length)


def _check_ours(path: Path) -> None:
    try:
        check_ours(path, CALL, replace=False)
    except InTheWayError:
        raise FileError(
            f"{path}: this file is not as the bench left it, and stays; move it away to keep settings"
        ) from None


def _text(settings: Settings) -> str:
    said: dict[str, Any] = {
        "chosen": settings.chosen,
        "signal": settings.signal or "source",
        "across": settings.across,
        "match": settings.match.data,
        "drops": settings.drops,
        "make_up": settings.makeup,
        "loop": list(settings.loop) if settings.loop else None,
        "pinned": list(settings.pinned),
    }
    lines = [f"{key} = {_in_toml(value)}" for key, value in said.items() if value is not None]
    marks = [f"{_in_toml(name)} = {at!r}" for name, at in settings.markers.items()]
    return "\n".join([*lines, *(["", "[markers]", *marks] if marks else []), ""])


def _in_toml(value: Any) -> str:
    """As JSON has it, but for pairs of surrogates and a bare DEL, which TOML has not."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")


def _read(said: Mapping[str, Any], choices: Collection[str], length: float) -> Settings:
    def one_of(key: str, known: Sequence[Any], usual: Any) -> Any:
        return said[key] if said.get(key) in known else usual

    try:
        match = Match.of(said.get("match", "installed"))
    except AuralizeError:
        match = INSTALLED
    names = list(choices)
    signal = one_of("signal", (*SIGNALS, "source"), "receiving")
    pinned, marks = said.get("pinned"), said.get("markers")
    return Settings(
        chosen=one_of("chosen", names, names[0]),
        signal=None if signal == "source" else signal,
        across=one_of("across", ACROSS, "both"),
        match=match,
        drops=one_of("drops", ("one", "equal"), "one"),
        makeup=_number(said.get("make_up"), MOST_MAKEUP),
        loop=_loop(said.get("loop"), length),
        pinned=tuple(n for n in pinned if n in names)[:2] if isinstance(pinned, list) else (),
        markers={name: at for name, at in marks.items() if _number(at, length) is not None}
        if isinstance(marks, dict)
        else {},
    )


def _loop(said: Any, length: float) -> tuple[float, float] | None:
    ends = [_number(end, length) for end in said] if isinstance(said, list) else []
    if len(ends) != 2 or ends[0] is None or ends[1] is None or ends[0] >= ends[1]:
        return None
    return ends[0], ends[1]


def _number(said: Any, most: float) -> float | None:
    """A number from 0 to ``most``; None for anything else."""
    number = isinstance(said, int | float) and not isinstance(said, bool)
    return float(said) if number and 0.0 <= said <= most else None
