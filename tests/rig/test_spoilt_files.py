"""Spoilt files of every kind: read, or refused in one sentence; never a traceback, a warning or a nan."""

from __future__ import annotations

import random
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from auralize.errors import RigError
from support import mutants


@pytest.mark.parametrize("name", mutants.READERS)
def test_the_seeds_are_right(name: str, tmp_path: Path) -> None:
    mutants.beside(tmp_path)
    for content in mutants.seeds()[name]:
        (tmp_path / name).write_bytes(content)
        assert mutants.read(tmp_path / name)


@pytest.mark.parametrize("name", mutants.READERS)
@given(seed=st.integers(0, 2**32 - 1))
@settings(max_examples=25, deadline=None)
def test_spoilt_files_are_read_or_refused(name: str, seed: int) -> None:
    chance = random.Random(seed)
    with tempfile.TemporaryDirectory() as folder:
        mutants.beside(Path(folder))
        (Path(folder) / name).write_bytes(
            mutants.spoilt(chance.choice(mutants.seeds()[name]), chance)
        )
        there = sorted(Path(folder).iterdir())
        mutants.read(Path(folder) / name)
        assert sorted(Path(folder).iterdir()) == there


@pytest.mark.parametrize("name", mutants.READERS)
@given(content=st.binary(max_size=400))
@settings(max_examples=25, deadline=None)
def test_any_bytes_are_read_or_refused(name: str, content: bytes) -> None:
    with tempfile.TemporaryDirectory() as folder:
        (Path(folder) / name).write_bytes(content)
        mutants.read(Path(folder) / name)


def test_what_goes_wrong_is_seen(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A reader with a fault fails here, as it would in the harness."""
    path = tmp_path / "rig.toml"
    for fault in (KeyError("x"), RuntimeWarning("overflow"), RigError("x" * 10_000)):

        def reader(path: Path, fault: BaseException = fault) -> None:
            raise fault

        monkeypatch.setitem(mutants.READERS, "rig.toml", reader)
        with pytest.raises((KeyError, RuntimeWarning, AssertionError)):
            mutants.read(path)
