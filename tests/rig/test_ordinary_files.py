"""Rigs, tables and logs are ordinary files of bounded size; all else is refused at once."""

from __future__ import annotations

import os
import socket
from collections.abc import Callable
from pathlib import Path

import pytest

from auralize import files
from auralize.errors import AuralizeError, RigError
from auralize.rig import reading, rows
from auralize.rig.editing import RigDraft
from auralize.rig.measured import read_cable, read_impedance
from auralize.rig.reading import load_rig, read_rig
from auralize.rig.touchstone import read_touchstone
from auralize.trials import log
from auralize.trials.checking import cut_off, verify
from auralize.units import parse, quoted
from support.rig_loads import MEASURED, text, written

READERS: dict[str, Callable[[Path], object]] = {
    "pond.toml": load_rig,
    "draft.toml": RigDraft,
    "lawn.txt": read_impedance,
    "lawn.s1p": read_touchstone,
    "reel.txt": read_cable,
    "session.jsonl": verify,
}


def pipe(path: Path) -> None:
    os.mkfifo(path)


def endless(path: Path) -> None:
    path.symlink_to("/dev/zero")


def listening(path: Path) -> None:
    with socket.socket(socket.AF_UNIX) as ear:
        ear.bind(str(path))


def vast(path: Path) -> None:
    with path.open("wb") as file:
        file.truncate(3_000_000_000)  # no disk is used: all of it is a hole


KINDS: dict[str, tuple[Callable[[Path], None], str]] = {
    "a folder": (Path.mkdir, "directory"),
    "a pipe that nobody writes": (pipe, "pipe or a device"),
    "a device without an end": (endless, "pipe or a device"),
    "a socket": (listening, "cannot be read|this cannot be read"),
    "a file of 3 GB": (vast, "more than (20000000|3000000) bytes"),
    "a link that leads round": (lambda path: path.symlink_to(path), "symbolic links"),
}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("name", READERS)
def test_what_is_no_ordinary_file_is_refused(name: str, kind: str, tmp_path: Path) -> None:
    make, said = KINDS[kind]
    make(tmp_path / name)
    with pytest.raises(AuralizeError, match=said):
        READERS[name](tmp_path / name)


def test_the_limits_are_those_that_are_said(tmp_path: Path) -> None:
    assert reading.MOST_BYTES == log.MOST_BYTES == 20_000_000
    assert rows.MOST_BYTES == 3_000_000
    path = tmp_path / "ten.txt"
    path.write_bytes(b"0123456789")
    assert files.read_bounded(path, 10) == b"0123456789"
    with pytest.raises(OSError, match="more than"):
        files.read_bounded(path, 9)
    with pytest.raises(OSError, match="name"):
        files.read_bounded(Path("a\0b"), 9)


def test_pipes_beside_logs_are_passed_over(tmp_path: Path) -> None:
    pipe(tmp_path / "west.jsonl")
    pipe(tmp_path / ".west.jsonl.share")
    (tmp_path / ".east.jsonl.share").write_text("0" * 64)
    pipe(tmp_path / "east.jsonl")
    assert cut_off(tmp_path) == []


@pytest.mark.parametrize("name", ["n" * 256 + ".txt", "n" * 5000, "d/" * 3000 + "z.txt"])
def test_a_name_that_no_file_can_have(name: str, tmp_path: Path) -> None:
    with pytest.raises(RigError, match=r"loads.landing.file: .*name too long"):
        load_rig(written(tmp_path, text(MEASURED + f'file = "{name}"')))


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is closed to the superuser")
def test_a_folder_without_rights(tmp_path: Path) -> None:
    closed = tmp_path / "closed"
    closed.mkdir(mode=0)
    with pytest.raises(RigError, match=r"loads.landing.file: .*permission denied"):
        load_rig(written(tmp_path, text(MEASURED + 'file = "closed/z.txt"')))


def test_a_folder_without_rights_as_the_system_tells_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same for the superuser too: the system's own calls refuse."""

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    whole = written(tmp_path, text(MEASURED + 'file = "z.txt"')).read_text()
    monkeypatch.setattr(Path, "stat", refuse)
    monkeypatch.setattr("auralize.files.os.open", refuse)
    with pytest.raises(RigError, match=r"loads.landing.file: .*permission denied"):
        read_rig(reading.tomllib.loads(whole), tmp_path / "landing.toml")


DIGITS = "1" * 4000


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"62 m"', DIGITS),
        ('"62 m"', f'"{DIGITS} m"'),
        ('"62 m"', f'"1{" " * 100_000}x"'),
        ('"62 m"', "1" * 5000),
        ('resistance = "0.05 ohm"', f'damping_factor = {DIGITS}\ninto = "8 ohm"'),
        ('resistance = "8 ohm"', f'resistance = "8 ohm"\nseries = {DIGITS}'),
        ('resistance = "8 ohm"', f'resistance = "8 ohm"\nreversed = {DIGITS}'),
    ],
)
def test_numbers_of_thousands_of_digits(old: str, new: str, tmp_path: Path) -> None:
    whole = text()
    assert old in whole
    with pytest.raises(RigError) as caught:
        load_rig(written(tmp_path, whole.replace(old, new)))
    assert len(str(caught.value)) < 500 + len(str(tmp_path))


def test_a_whole_number_beyond_what_python_writes(tmp_path: Path) -> None:
    assert quoted(10**5000) == "a number of thousands of digits"
    with pytest.raises(RigError, match="thousands of digits"):
        read_rig({"amplifier": {"damping_factor": 10**5000, "into": "8 ohm"}})
    with pytest.raises(ValueError, match="too long"):
        parse("1" * 401 + " m", "length")


@pytest.mark.parametrize("name", ["lawn.txt", "lawn.s1p"])
@pytest.mark.parametrize("digits", ["1" * 4000, "x" * 4000, "1e" + "9" * 4000])
def test_long_fields_of_tables_are_cut_in_refusals(name: str, digits: str, tmp_path: Path) -> None:
    path = tmp_path / name
    rows = f"# HZ S RI R 50\n20 0.1 0\n40 {digits} 0\n80 0.1 0\n160 0.1 0\n"
    path.write_text(rows if name.endswith("s1p") else rows.replace("# HZ S RI R 50\n", ""))
    with pytest.raises(AuralizeError, match=r"line [23]: ") as caught:
        read_impedance(path)
    assert len(str(caught.value)) < 300 + len(str(path))


@pytest.mark.parametrize("breaking", ["\n", "\r", "\x1b[2J", "\x9b", "\u202e", "\u2028"])
def test_refusals_stay_on_one_line_whatever_the_name(breaking: str, tmp_path: Path) -> None:
    path = tmp_path / f"pond{breaking}.toml"
    with pytest.raises(RigError) as caught:
        load_rig(path)
    assert str(caught.value).isprintable()
    written(tmp_path, text()).rename(path)
    assert load_rig(path).title.isprintable()


@pytest.mark.parametrize("table", ["runs", "loads", "cables", "transformers"])
def test_names_with_control_characters_are_refused(table: str) -> None:
    with pytest.raises(RigError, match=r"the name 'quay\\x1b' was found") as caught:
        read_rig(
            {
                "amplifier": {"resistance": "20 mohm"},
                "runs": {},
                "loads": {"west": {"type": "resistor", "resistance": "8 ohm", "at": "amplifier"}},
                table: {"quay\x1b": {}},
            }
        )
    assert str(caught.value).isprintable()
