"""Sound files that the user has no right to read or to write."""

import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from auralize.audio.reader import probe
from auralize.audio.writer import check_output
from auralize.errors import AudioFileError
from support.sound_files import assert_one_sentence, make, write_all

NOBODY = 65_534


@contextmanager
def without_privilege() -> Iterator[None]:
    """As root every file may be read; become nobody for a while."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


@contextmanager
def unprivileged_access() -> Iterator[None]:
    """os.access asks for the real user, not the effective one: change both."""
    if os.geteuid() != 0:
        yield
        return
    os.setresuid(NOBODY, NOBODY, 0)
    try:
        yield
    finally:
        os.setresuid(0, 0, 0)


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that others than its owner may enter, unlike tmp_path."""
    folder = Path(tempfile.mkdtemp(prefix="auralize-test-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


def test_an_unreadable_file_is_refused(open_folder: Path) -> None:
    path = make(open_folder / "a.wav")
    path.chmod(0)
    with without_privilege(), pytest.raises(AudioFileError, match="right to read it") as caught:
        probe(path)
    assert_one_sentence(str(caught.value), path)


def test_a_folder_without_the_right_to_write_is_refused(open_folder: Path) -> None:
    open_folder.chmod(0o555)
    path = open_folder / "a.wav"
    try:
        with unprivileged_access(), pytest.raises(AudioFileError, match="right to write"):
            check_output(path, "PCM_24")
        with without_privilege(), pytest.raises(AudioFileError, match="cannot be written") as late:
            write_all(path, np.zeros((10, 1)))
    finally:
        open_folder.chmod(0o755)
    assert_one_sentence(str(late.value), path)


def test_a_write_protected_result_is_not_replaced(open_folder: Path) -> None:
    open_folder.chmod(0o777)
    path = make(open_folder / "a.wav")
    path.chmod(0o444)
    with unprivileged_access(), pytest.raises(AudioFileError, match="write-protected"):
        check_output(path, "PCM_24")
