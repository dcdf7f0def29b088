"""The rig file: one installation and the choices to compare, read and checked into circuits.

A choice states only what differs from the common part: its tables are laid over those of the file.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Collection, Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Final

from auralize.errors import RigError, one_line
from auralize.files import read_bounded
from auralize.outputs import fingerprint, sha256_of
from auralize.rig.chains import written_out
from auralize.rig.choice import Choice
from auralize.rig.folder import Folder
from auralize.rig.keys import TOP_KEYS
from auralize.rig.loads import read_loads
from auralize.rig.overlay import changed_names, common_part, laid_on
from auralize.rig.parts import (
    build_network,
    read_amplifier,
    read_drive,
    read_listen,
    read_runs,
    read_transformers,
)
from auralize.rig.table import Table, dotted, guess
from auralize.units import quoted

_OF_A_CHOICE: Final = ("label", *(key for key in TOP_KEYS if key not in ("title", "choices")))
"""What a choice may say of its own, and what all share."""
ONLY_CHOICE: Final = "as-described"
"""Name of the single choice in a rig file that lists none."""


@dataclass(frozen=True, repr=False)
class Rig:
    """A rig that was read and found right: ``rig["reel"]`` is a choice, ``list(rig)`` their names."""

    path: Path | None
    """None where it was not read from a file."""
    title: str
    choices: Mapping[str, Choice]
    data: Mapping[str, Any]
    """The file's contents as they were read."""
    files_anywhere: bool = False
    """Whether its measurements may lie outside of its folder."""

    def __repr__(self) -> str:
        return f"<Rig {self.title!r}: {', '.join(self.choices)}>"

    def __getitem__(self, name: str) -> Choice:
        """The choice of that name; raises RigError, which says what names there are."""
        if name not in self.choices:
            raise RigError(
                f"{_where(self.path)}: choice {name!r} is not in it{guess(name, self.choices)}; "
                f"right is one of {', '.join(self.choices)}"
            )
        return self.choices[name]

    def __contains__(self, name: object) -> bool:
        return name in self.choices

    def __iter__(self) -> Iterator[str]:
        return iter(self.choices)

    def __len__(self) -> int:
        return len(self.choices)

    def pick(self, names: list[str]) -> list[Choice]:
        """The choices of these names, all of them for an empty list; raises RigError."""
        return [self[name] for name in dict.fromkeys(names or self)]

    def said(self, choice: Choice) -> Mapping[str, Any]:
        """The file's contents as a choice has them."""
        return laid_on(common_part(self.data), self.data.get("choices", {}).get(choice.name, {}))

    def of(self, choice: Choice) -> Mapping[str, Any]:
        """The same with every load and run of a line by its own name."""
        return written_out(Table(self.said(choice), (), dotted)).data

    def changed(self, choice: Choice, values: Mapping[Any, Any]) -> Choice:
        """The choice with other values at some places (tuples of keys), heard as it is; raises RigError."""
        overlay: dict[str, Any] = dict(self.data.get("choices", {}).get(choice.name, {}))
        for place, value in values.items():
            for key in reversed(place):
                value = {key: value}
            overlay = laid_on(overlay, value)
        data = {**self.data, "choices": {choice.name: overlay}}
        found = read_rig(data, self.path, files_anywhere=self.files_anywhere)[choice.name]
        return found.at(choice.listen if choice.place_tag else None)


def load_rig(path: Path | str, *, files_anywhere: bool = False) -> Rig:
    """Read and check a rig file.

    Parameters
    ----------
    path : path
        A rig file (TOML), as `auralize keys` describes it.
    files_anywhere : bool
        Whether it may name measurements outside of its folder.

    Returns
    -------
    Rig
        ``rig["reel"]`` is a choice, ``list(rig)`` the names of all.

    Raises
    ------
    RigError
        File, field, what was found, what would be right.

    Examples
    --------
    >>> import auralize as au
    >>> list(au.load_rig("saltmarsh.toml"))
    ['reel', 'bought', 'beams']
    """
    path = Path(path)
    return read_rig(_toml(path), path, files_anywhere=files_anywhere)


MOST_BYTES: Final = 20_000_000
"""A rig file of 100 000 choices; those that people write have some 1 kB."""


def read_rig_text(path: Path) -> str:
    """A rig file as text, its line ends as a text file's; raises OSError or UnicodeDecodeError."""
    text = read_bounded(path, MOST_BYTES).decode("utf-8-sig")
    return text.replace("\r\n", "\n").replace("\r", "\n")


def _toml(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(read_rig_text(path))
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise RigError(f"{path}: the rig file cannot be read: {reason}") from None
    except UnicodeDecodeError:
        raise RigError(f"{path}: this is no text in UTF-8; a rig file is a TOML text") from None
    except ValueError as error:  # TOMLDecodeError, or an integer beyond what Python reads
        raise RigError(f"{path}: this is no valid TOML: {error}{_unquoted(path, error)}") from None
    except RecursionError:
        raise RigError(f"{path}: this is no valid TOML: it is nested too deeply") from None


_AT_LINE: Final = re.compile(r"at line (\d+)")
_BARE_QUANTITY: Final = re.compile(r"""=\s*[\d.,/#]+\s*[A-Za-z'"\u03a9\u00b0]""")


def _unquoted(path: Path, error: ValueError) -> str:
    """What to say where a line that is no TOML holds a quantity without its quotes."""
    at = _AT_LINE.search(str(error))
    lines = read_rig_text(path).splitlines()
    line = lines[int(at[1]) - 1] if at and int(at[1]) <= len(lines) else ""
    if not _BARE_QUANTITY.search(line):
        return ""
    return '; a quantity stands in quotes, such as length = "62 m"'


def read_rig(
    data: Mapping[str, Any], path: Path | str | None = None, *, files_anywhere: bool = False
) -> Rig:
    """Check a rig that was built in code, as a dictionary: the same tables and keys as in a rig file.

    Parameters
    ----------
    data : mapping
        As a TOML reader gives it: quantities with their units, ``{"length": "62 m"}``.
    path : path, optional
        Named in errors; files of measurements are looked for beside it, or else from the working folder.
    files_anywhere : bool
        See `load_rig`.

    Raises
    ------
    RigError
        Field, what was found, what would be right.

    Examples
    --------
    >>> import auralize as au
    >>> rig = au.read_rig({
    ...     "amplifier": {"resistance": "20 mohm"},
    ...     "cables": {"reel": {
    ...         "construction": "twin", "conductor": "14 AWG", "insulation": "0.8 mm"}},
    ...     "runs": {"pond": {"cable": "reel", "length": "200 ft"}},
    ...     "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
    ... })
    >>> len(rig)
    1
    """
    path = None if path is None else Path(path)
    where = _where(path)
    top = Table(data, (), lambda place: f"{where}: {dotted(place)}")
    title = top.text("title", where if path is None else one_line(path.stem))
    top.refuse_misspelt((*TOP_KEYS, "label"))
    overlays = _overlays(top)
    common = common_part(data)
    folder = Folder(Path() if path is None else path.parent, files_anywhere)
    choices = _read_choices(common, overlays, where, folder)
    return Rig(path, title, _told_apart(choices), data, files_anywhere)


def _read_choices(
    common: Mapping[str, Any], overlays: Mapping[str, Mapping[str, Any]], where: str, folder: Folder
) -> dict[str, Choice]:
    for name, over in overlays.items():
        Table({**common, **over}, (), _locator(where, name, over)).refuse_misspelt(_OF_A_CHOICE)
    try:
        return {
            name: _read_choice(
                name, Table(laid_on(common, over), (), _locator(where, name, over)), folder, over
            )
            for name, over in overlays.items()
        }
    except RigError:
        for name, over in overlays.items():
            _refuse_misspelt(common, over, _locator(where, name, over))
        raise
    except RecursionError:
        raise RigError(f"{where}: choices: tables are nested too deeply") from None


def _told_apart(choices: Mapping[str, Choice]) -> dict[str, Choice]:
    """The choices, with a note on each that is the same as one before it."""
    first: dict[Hashable, str] = {}
    told = {}
    for name, choice in choices.items():
        same = first.setdefault(choice.content, name)
        if same != name:
            note = (
                f"choice {name} is the same as choice {same}: nothing differs but what it is called"
            )
            choice = replace(choice, notes=(*choice.notes, note))
        told[name] = choice
    return told


def _overlays(top: Table) -> dict[str, Mapping[str, Any]]:
    """What each choice says of its own; of the only one nothing, where none is named."""
    overlays = {n: t.data for n, t in top.tables("choices").items()} or {ONLY_CHOICE: {}}
    for name in overlays:
        _check_name(top, name)
    return overlays


def _where(path: Path | None) -> str:
    return "rig" if path is None else str(path)


_LONGEST_NAME: Final = 100
"""Bytes; a file name has room for 255 on the usual file systems, and the programme's is in it too."""


def _check_name(top: Table, name: str) -> None:
    """Refuse a choice whose name cannot be part of a file's name."""
    unfit = not name.strip(". ") or not name.isprintable() or set(name) & set("/\\")
    if unfit or len(name.encode()) > _LONGEST_NAME:
        raise top.refuse(
            "choices",
            f"the choice {quoted(name)} cannot be named so, as files are named after it; right is a "
            f"short name without slashes and line breaks",
        )


def _locator(where: str, name: str, overlay: Mapping[str, Any]) -> Callable[[tuple[str, ...]], str]:
    """What says where a field of a choice stands: in its own tables, or in the common part."""

    def locate(place: tuple[str, ...]) -> str:
        inside: Any = overlay
        for key in place:
            inside = inside.get(key) if isinstance(inside, Mapping) else None
        if inside is not None and place:
            return f"{where}: {dotted(('choices', name, *place))}"
        field = dotted(place) or "the rig"
        return f"{where}: {field} (choice {name!r})" if overlay else f"{where}: {field}"

    return locate


def _refuse_misspelt(
    common: Mapping[str, Any],
    over: Mapping[str, Any],
    locate: Callable[[tuple[str, ...]], str],
) -> None:
    """Of a choice that cannot be read, tell first where it misspells a name of the common part."""
    for table, name, known in changed_names(common, over):
        if meant := guess(name, known):
            raise RigError(
                f"{locate((table, name))}: {name!r} is not there to be changed{meant}; right is one of "
                f"{', '.join(known)}, or a whole table"
            ) from None


def _read_choice(name: str, table: Table, folder: Folder, over: Mapping[str, Any]) -> Choice:
    """The choice of that name, whose whole is in ``table`` and what it says itself in ``over``."""
    folder = Folder(folder.path, folder.anywhere)
    table = written_out(table)
    label = table.text("label", name)
    amplifier, rating, rated_into = read_amplifier(table)
    runs = read_runs(table, folder)
    transformers = read_transformers(table, runs)
    loads = read_loads(table, [*runs, *transformers], folder)
    listen = read_listen(table, loads)
    drive = read_drive(table, loads)
    table.finish()
    network = build_network(table, amplifier, runs, transformers, loads)
    for run in over.get("runs", {}):
        if run not in network.runs:
            raise table.table("runs").refuse(
                run,
                f"run {run} carries no load in this choice; right is a load at its end, or to leave the "
                "run out here",
            )
    notes = [note for n in network.runs for note in runs[n].cable.notes]
    notes += [note for load in loads.values() for note in load.notes]
    return Choice(
        name,
        label,
        network,
        listen,
        {n: runs[n] for n in network.runs},
        {n: transformers[n] for n in network.transformers},
        loads,
        rating=rating,
        rated_into=rated_into,
        drive=drive,
        notes=tuple(dict.fromkeys(notes)),
        home=listen,
        fingerprint=_fingerprint(table.data, folder.files),
    )


def _fingerprint(said: Mapping[str, Any], files: Collection[Path]) -> str:
    content = {key: value for key, value in said.items() if key not in ("label", "title")}
    return fingerprint(content, sorted({sha256_of(path) for path in files}))
