"""A sound rig file, part by part, how to spoil it, and what its refusal says."""

from collections.abc import Mapping
from pathlib import Path

import pytest

from auralize.errors import RigError
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig, load_rig

AMPLIFIER = {"resistance": '"0.05 ohm"'}
CABLE = {"construction": '"twin"', "conductor": '"2.5 mm2"', "insulation": '"0.8 mm"'}
RUN = {"cable": '"reel"', "length": '"62 m"'}
LOAD = {"type": '"resistor"', "resistance": '"8 ohm"'}
DRIVER = {
    "type": '"driver"',
    "nominal": '"8 ohm"',
    "Re": '"5.6 ohm"',
    "fs": '"38 Hz"',
    "Qms": "4.2",
    "Qes": "0.42",
}


def table(name: str, base: Mapping[str, str], changes: Mapping[str, str | None]) -> str:
    """[name] with the keys of ``base``, changed; None leaves one out. Values are TOML."""
    keys = {**base, **changes}
    return f"[{name}]\n" + "".join(f"{k} = {v}\n" for k, v in keys.items() if v is not None)


def amplifier(**changes: str | None) -> str:
    return table("amplifier", AMPLIFIER, changes)


def cable(name: str = "reel", **changes: str | None) -> str:
    return table(f"cables.{name}", CABLE, changes)


def run(name: str = "pond", **changes: str | None) -> str:
    if "feeder" in changes:  # `from` is a word of Python
        changes["from"] = changes.pop("feeder")
    return table(f"runs.{name}", RUN, changes)


def load(name: str = "stage", **changes: str | None) -> str:
    return table(f"loads.{name}", LOAD, changes)


def driver(**changes: str | None) -> str:
    return table("loads.stage", DRIVER, changes)


def text(
    top: str = "",
    amplifier: str = amplifier(),
    cables: str = cable(),
    runs: str = run(),
    loads: str = load(),
    choices: str = "",
) -> str:
    """A whole rig file of the Saltmarsh Tide Mill, sound unless a part is replaced."""
    return "\n".join([top, amplifier, cables, runs, loads, choices])


def written(folder: Path, content: str | bytes) -> Path:
    path = folder / "tide-mill.toml"
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def refusal(path: Path) -> str:
    """The sentence on a rig file that must be refused, after the file's name."""
    with pytest.raises(RigError) as caught:
        load_rig(path)
    sentence = str(caught.value)
    assert sentence.isprintable(), f"a line break or a control character: {sentence!r}"
    assert sentence.startswith(f"{path}: ")
    return sentence.removeprefix(f"{path}: ")


def read(folder: Path, content: str) -> Rig:
    return load_rig(written(folder, content))


def the_choice(folder: Path, content: str) -> Choice:
    (choice,) = read(folder, content).choices.values()
    return choice
