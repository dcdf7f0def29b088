"""Sources that fail while they are read (a stick pulled out, a server gone): one sentence each."""

from __future__ import annotations

import errno
import io
import os
from pathlib import Path
from typing import Any

import pytest
import soundfile as sf

from auralize.audio import header, reader
from auralize.audio.carried import carried
from auralize.audio.reader import probe, read_blocks
from auralize.audio.samples import PlainFile
from auralize.errors import AudioFileError
from auralize.live.programme import Programme
from support.sound_files import FRAMES, assert_one_sentence, make

KINDS = {"a.wav": "WAV", "a.flac": "FLAC", "a.aiff": "AIFF", "a.w64": "W64", "a.ogg": "OGG"}


def fault(*_: object, **__: object) -> Any:
    raise OSError(errno.EIO, os.strerror(errno.EIO))


def source(folder: Path, name: str) -> Path:
    return make(folder / name, "VORBIS" if KINDS[name] == "OGG" else "PCM_24", KINDS[name])


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("error", [OSError(errno.EIO, "Input/output error"), sf.LibsndfileError(2)])
def test_a_read_that_fails_half_way_tells_where_and_why(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, error: Exception
) -> None:
    """What the library below raises, at the third block."""
    path, calls = source(tmp_path, name), list[Any]()
    kind: Any = PlainFile if name == "a.wav" else sf.SoundFile
    read = kind.read

    def failing(file: Any, *rest: Any, **named: Any) -> Any:
        calls.append(file)
        if len(calls) == 3:
            raise error
        return read(file, *rest, **named)

    monkeypatch.setattr(kind, "read", failing)
    with pytest.raises(AudioFileError) as caught:
        list(read_blocks(path, FRAMES // 4))
    assert_one_sentence(str(caught.value), path)
    assert len(calls) == 3


@pytest.mark.parametrize("name", KINDS)
@pytest.mark.parametrize("good", range(8))
def test_a_header_that_cannot_be_read_is_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, good: int
) -> None:
    """At each of the reads that look at it, here and in what is carried into the results."""
    path, left = source(tmp_path, name), [good]

    class Failing(io.BufferedReader):
        def read(self, size: int | None = -1, /) -> bytes:
            left[0] -= 1
            return fault() if left[0] < 0 else super().read(size)

    monkeypatch.setattr(Path, "open", lambda path, mode="r": Failing(io.FileIO(path)))
    try:
        probe(path)
        carried(path)
        told = ""
    except AudioFileError as error:
        told = str(error)
    if left[0] < 0:
        assert told.startswith(f"{path} cannot be read: input/output error; ")
    else:
        assert not told


def test_a_file_left_open_that_fails_says_nothing_but_its_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """libsndfile asks for its bytes through a callback, which can raise nothing."""
    path = make(tmp_path / "a.wav")
    content = bytearray(path.read_bytes())
    at = content.index(b"data") + 4
    content[at : at + 4] = bytes(4)
    path.write_bytes(content)
    info = probe(path)
    assert info.frames == FRAMES
    opened: list[Any] = []
    monkeypatch.setattr(
        reader, "left_open", lambda path: opened.append(header.left_open(path)) or opened[0]
    )
    blocks = read_blocks(info, 500)
    next(blocks)
    os.dup2(os.open(tmp_path, os.O_RDONLY), opened[0].fileno())  # reading a folder is an error
    with pytest.raises(AudioFileError, match="cut short"):
        list(blocks)
    assert capfd.readouterr().err == ""


def test_a_file_that_becomes_shorter_while_its_header_is_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its size was asked before: there seems to be another chunk, and there is nothing."""
    path = make(tmp_path / "a.wav")
    size = path.stat().st_size
    path.write_bytes(path.read_bytes()[:30])
    stat = Path.stat

    def earlier(path: Path, **named: Any) -> Any:
        found = list(stat(path, **named))
        found[6] = size
        return os.stat_result(found)

    monkeypatch.setattr(Path, "stat", earlier)
    assert [chunk.name for chunk in header.chunks(path)] == [b"fmt "]


def test_the_live_programme_that_fails_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for name, kind in (("a.wav", PlainFile), ("a.flac", sf.SoundFile)):
        with Programme(source(tmp_path, name)) as programme:
            monkeypatch.setattr(kind, "read", fault)
            with pytest.raises(AudioFileError, match="cannot be read: input/output error"):
                programme.read(0, 100)
