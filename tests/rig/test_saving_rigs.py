"""Saving a rig from the bench: links stay links, a private rig stays private, and so does its recovery."""

import os
import stat
from pathlib import Path

import pytest

from auralize.errors import RigError
from auralize.rig.editing import RigDraft

pytest.importorskip("tomlkit", reason="editing keeps comments with tomlkit (extra: bench)")
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
LENGTH = ("runs", "pond", "length")


@pytest.fixture
def path(tmp_path: Path) -> Path:
    copy = tmp_path / "store" / "mill.toml"
    copy.parent.mkdir()
    copy.write_bytes(DEMO.read_bytes())
    return copy


def mode(path: Path) -> int:
    return stat.S_IMODE(path.stat().st_mode)


@pytest.mark.parametrize("relative", [False, True])
def test_a_link_to_a_rig_stays_one(path: Path, tmp_path: Path, relative: bool) -> None:
    link = tmp_path / "desk" / "today.toml"
    link.parent.mkdir()
    link.symlink_to("../store/mill.toml" if relative else path)
    draft = RigDraft(link)
    draft.change("reel", LENGTH, "70 m")
    assert os.listdir(path.parent) == ["mill.toml"]
    draft.save()
    assert link.is_symlink()
    assert not path.is_symlink()
    assert "70 m" in path.read_text(encoding="utf-8")
    assert os.listdir(link.parent) == ["today.toml"]
    assert os.listdir(path.parent) == ["mill.toml"]


@pytest.mark.parametrize("kept", [0o600, 0o640, 0o644])
def test_the_rights_of_a_rig_are_kept_and_hold_for_its_recovery_file(path: Path, kept: int) -> None:
    before = os.umask(0o022)
    try:
        path.chmod(kept)
        draft = RigDraft(path)
        draft.change("reel", LENGTH, "70 m")
        recovery = path.with_name("mill.toml.unsaved")
        assert mode(recovery) == kept
        draft.change("reel", LENGTH, "71 m")
        assert mode(recovery) == kept
        assert not draft.unkept
        draft.save()
        assert mode(path) == kept
    finally:
        os.umask(before)


def test_a_recovery_file_that_was_open_to_all_is_closed(path: Path) -> None:
    draft = RigDraft(path)
    draft.change("reel", LENGTH, "70 m")
    path.chmod(0o600)
    draft.change("reel", LENGTH, "71 m")
    assert mode(path.with_name("mill.toml.unsaved")) == 0o600


def test_a_rig_that_is_nested_too_deeply_is_refused_in_a_sentence(path: Path) -> None:
    path.write_text(f"deep = {'[' * 100_000}", encoding="utf-8")
    with pytest.raises(RigError, match="this is no valid TOML: it is nested too deeply"):
        RigDraft(path)
