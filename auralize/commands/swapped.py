"""Arguments in the wrong order, told as such: what else would be said of them leads nobody anywhere."""

from __future__ import annotations

import argparse
import shlex
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, Final

from auralize.errors import RequestError

_RIG: Final = ".toml"


def refuse_swapped(arguments: argparse.Namespace, rest: Sequence[str], prog: str) -> None:
    """Raise RequestError where another file stands before the rig file; ``rest`` found no place."""
    first = getattr(arguments, "rig", None)
    if not isinstance(first, Path) or first.suffix.lower() == _RIG:
        return
    rigs = [name for name in (*_files(vars(arguments)), *rest) if name.lower().endswith(_RIG)]
    if not rigs:
        return
    room = not {"programme", "sounds", "sound"}.isdisjoint(vars(arguments))
    files = (rigs[0], str(first)) if room else (rigs[0],)
    right = shlex.join((prog, arguments.command_name, *files))
    more = "" if room else ", which takes no sound file"
    raise RequestError(
        f"{first}: the rig file comes first, and {rigs[0]} looks like it; right is `{right}`{more}"
    )


def _files(given: dict[str, Any]) -> Iterator[str]:
    for value in given.values():
        for one in value if isinstance(value, list) else (value,):
            if isinstance(one, Path):
                yield str(one)
