"""The text of a rig file, edited without losing its comments: what is written is what was meant, or nothing.

Each function takes a text and gives another; one that would not read as it was meant is refused.
"""

from __future__ import annotations

import json
import re
import tomllib
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from auralize.errors import RequestError, RigError
from auralize.rig.table import dotted

if TYPE_CHECKING:
    from tomlkit import TOMLDocument

Way = tuple[str, ...]
"""A path of keys from the top of the file."""

_HEADER: Final = re.compile(r"\s*\[")
_QUIET: Final = re.compile(r"\s*(#.*)?")
"""A line that says nothing: blank, or a comment."""
_DEEPEST: Final = 2
"""Keys that are written with dots, as people write them; below that stand tables on one line."""


def plain(text: str) -> dict[str, Any]:
    """What a text says; raises RigError."""
    try:
        return tomllib.loads(text)
    except ValueError as error:  # TOMLDecodeError, or an integer beyond what Python reads
        raise RigError(f"this is no valid TOML: {error}") from None
    except RecursionError:
        raise RigError("this is no valid TOML: it is nested too deeply") from None


def with_values(text: str, values: Mapping[Way, Any], without: Collection[Way] = ()) -> str:
    """The text with these values in their places, and without what stood in others; raises RigError."""
    wanted, document = plain(text), _document(text)
    for way in without:
        _take_out(wanted, way)
        _take_out(document, way)
    for way, value in values.items():
        _put(wanted, way, value, dict)
        _put(document, way, value, _inline_table)
    made = document.as_string()
    if not _says(made, wanted):  # an editor of text must never write something else
        raise _refusal(*values, *without)
    return made


def copied(text: str, choice: str, name: str) -> str:
    """The text with a choice of another name behind, which says the same but for its label."""
    wanted = plain(text)
    said = {k: v for k, v in wanted["choices"][choice].items() if k != "label"}
    wanted["choices"][name] = said
    lines = ["", f"[{_dotted(('choices', name))}]", *_lines(said)]
    return _first(wanted, name, iter(["\n".join([text.rstrip("\n"), *lines, ""])]))


def renamed(text: str, choice: str, name: str) -> str:
    """The text with another name for a choice, in its place where that can be."""
    wanted = plain(text)
    wanted["choices"] = {name if k == choice else k: v for k, v in wanted["choices"].items()}

    def ways() -> Iterator[str]:
        old = rf"(?:{re.escape(choice)}|{re.escape(json.dumps(choice, ensure_ascii=False))})"
        new = _dotted((name,)).replace("\\", r"\\")
        headers = re.compile(rf"(?m)^(\s*\[\s*choices\s*\.\s*){old}(?=\s*[.\]])")
        named = headers.sub(rf"\g<1>{new}", text)
        yield named
        yield re.sub(rf"(?m)^(\s*(?:choices\s*\.\s*)?){old}(?=\s*[.=])", rf"\g<1>{new}", named)

    return _first(wanted, choice, ways())


def removed(text: str, choice: str) -> str:
    """The text without a choice; comments before the next table stay."""
    wanted = plain(text)
    del wanted["choices"][choice]

    def ways() -> Iterator[str]:
        yield _without_tables(text, choice)
        document = _document(text)
        _take_out(document, ("choices", choice))
        yield document.as_string()

    return _first(wanted, choice, ways())


def _first(wanted: Mapping[str, Any], choice: str, ways: Iterator[str]) -> str:
    for made in ways:
        if _says(made, wanted):
            return made
    raise _refusal(("choices", choice))


def _refusal(*ways: Way) -> RigError:
    sentence = "cannot be changed here; change it in a text editor"
    error = RigError(f"{dotted(ways[0])} {sentence}")
    error.place, error.sentence = ways[0], sentence
    return error


def _without_tables(text: str, choice: str) -> str:
    """The lines that are not of the tables of a choice, as far as headers tell."""
    old = rf"(?:{re.escape(choice)}|{re.escape(json.dumps(choice, ensure_ascii=False))})"
    own = re.compile(rf"\s*\[\s*choices\s*\.\s*{old}\s*[.\]]")
    kept: list[str] = []
    dropped: list[str] = []
    inside = False
    for line in text.splitlines(keepends=True):
        if _HEADER.match(line):
            if inside:
                kept += _tail(dropped)
            inside, dropped = bool(own.match(line)), []
        (dropped if inside else kept).append(line)
    return "".join(kept)


def _tail(lines: list[str]) -> list[str]:
    """The blank lines and comments at the end of a table, which are of what comes next."""
    at = len(lines)
    while at and _QUIET.fullmatch(lines[at - 1].rstrip("\n")):
        at -= 1
    return lines[at:]


def _lines(said: Mapping[str, Any], before: Way = ()) -> Iterator[str]:
    for key, value in said.items():
        way = (*before, key)
        if isinstance(value, Mapping) and value and len(way) <= _DEEPEST:
            yield from _lines(value, way)
        else:
            yield f"{_dotted(way)} = {_inline(value)}"


def _inline(value: Any) -> str:
    import tomlkit

    if isinstance(value, Mapping):
        inside = ", ".join(f"{_dotted((key,))} = {_inline(v)}" for key, v in value.items())
        return f"{{ {inside} }}" if inside else "{}"
    return tomlkit.item(value).as_string()


def _dotted(way: Way) -> str:
    """A path as TOML writes it, however long."""
    return ".".join(
        key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else json.dumps(key, ensure_ascii=False)
        for key in way
    )


def _says(text: str, wanted: Mapping[str, Any]) -> bool:
    """Whether a text means this to all who read it, the next edit too."""
    try:
        return plain(text) == wanted == _document(text).unwrap()
    except RigError:
        return False


def _document(text: str) -> TOMLDocument:
    try:
        import tomlkit
    except ImportError:
        raise RequestError(
            "editing needs tomlkit, which is not installed; `pip install tomlkit` brings it"
        ) from None
    try:
        return tomlkit.parse(text)
    except tomlkit.exceptions.ParseError as error:
        raise RigError(f"this is no valid TOML: {error}") from None


def _put(table: Any, way: Sequence[str], value: Any, new_table: Callable[[], Any]) -> None:
    """Set the value at the end of ``way``, making tables that are missing."""
    for key in way[:-1]:
        if not isinstance(table.get(key), Mapping):
            table[key] = new_table()
        table = table[key]
    table[way[-1]] = _nested(value, new_table)


def _nested(value: Any, new_table: Callable[[], Any]) -> Any:
    if not isinstance(value, Mapping):
        return value
    inside = new_table()
    for key, item in value.items():
        inside[key] = _nested(item, new_table)
    return inside


def _take_out(table: Any, way: Sequence[str]) -> None:
    """Remove what is at the end of ``way`` if it is there, and the tables that are empty then."""
    tables = [table]
    for key in way[:-1]:
        table = table.get(key)
        if not isinstance(table, Mapping):
            return
        tables.append(table)
    for at in range(len(way) - 1, -1, -1):
        if way[at] in tables[at]:
            del tables[at][way[at]]
        if tables[at] or at <= _DEEPEST:  # a choice stays a choice, whatever it says
            return


def _inline_table() -> Any:
    """On one line, so that it fits below any header and beside dotted keys."""
    import tomlkit

    return tomlkit.inline_table()
