"""A rig names measurements in its own folder or below; elsewhere only where the user allowed it."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from pathlib import Path

import pytest

import auralize as au
from auralize.commands.main import main
from auralize.errors import RigError
from auralize.rig.editing import RigDraft
from support.rig_loads import MEASURED, text, written

Z = "20 8 0\n40 9 20\n80 8 0\n160 7 -10\n"
CABLE = "".join(f"{f} 0.0148 6.5e-7 6e-11\n" for f in (20, 200, 2000, 20000))


def absolute(rig: Path, outside: Path) -> str:
    return str(outside)


def upwards(rig: Path, outside: Path) -> str:
    return f"../{outside.name}"


def round_about(rig: Path, outside: Path) -> str:
    (rig / "data").mkdir()
    return f"data/../../{outside.name}"


def by_link(rig: Path, outside: Path) -> str:
    (rig / "near.txt").symlink_to(outside)
    return "near.txt"


def by_linked_folder(rig: Path, outside: Path) -> str:
    (rig / "data").symlink_to(outside.parent)
    return f"data/{outside.name}"


WAYS = (absolute, upwards, round_about, by_link, by_linked_folder)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("part", ["load", "cable"])
def test_ways_out_of_the_folder(
    part: str,
    way: Callable[[Path, Path], str],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    outside, folder = tmp_path / "secret.txt", tmp_path / "rig"
    folder.mkdir()
    outside.write_text(Z if part == "load" else CABLE)
    line = f'file = "{way(folder, outside)}"'
    if part == "load":
        content, key = text(MEASURED + line), "loads.landing.file"
    else:
        content, key = text(cable=f'construction = "measured"\n{line}'), "cables.reel.file"
    path = written(folder, content)
    with pytest.raises(RigError, match=rf"{key}: .* leads out of the rig's folder; .*--files-any"):
        au.load_rig(path)
    with pytest.raises(RigError, match="leads out"):
        RigDraft(path)
    with pytest.raises(RigError, match="leads out"):
        au.read_rig(tomllib.loads(content), path)
    assert main(["figures", str(path)]) == 2
    assert "leads out" in capsys.readouterr().err
    rig = au.load_rig(path, files_anywhere=True)
    (choice,) = rig.choices.values()
    assert rig.changed(choice, {("runs", "quay", "length"): "10 m"}).runs["quay"].run.length == 10.0
    assert RigDraft(path, files_anywhere=True).rig.files_anywhere
    assert main(["figures", str(path), "--files-anywhere"]) == 0


def test_ways_within_the_folder_are_open(tmp_path: Path) -> None:
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "z.txt").write_text(Z)
    (tmp_path / "near.txt").symlink_to("data/z.txt")
    for name in ("data/z.txt", "./data/z.txt", "near.txt"):
        assert au.load_rig(written(tmp_path, text(MEASURED + f'file = "{name}"')))
    (tmp_path / "elsewhere").symlink_to(tmp_path)  # the folder itself may be reached by a link
    assert au.load_rig(tmp_path / "elsewhere" / "landing.toml")
