"""Descriptions, markers, loops and tags of a WAV file, found again in what is made of it."""

import struct
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from auralize.audio import writer as audiowriter
from auralize.audio.carried import carried
from auralize.audio.reader import probe
from auralize.errors import AudioFileError
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from auralize.rig.reading import load_rig

RIG = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"
RATE, FRAMES = 48_000, 4_800


def chunk(name: bytes, content: bytes) -> bytes:
    return struct.pack("<4sI", name, len(content)) + content + bytes(len(content) % 2)


def bext(version: int) -> bytes:
    """EBU Tech 3285 (values from memory): texts of 256, 32, 32, 10 and 8 bytes, time code of 8,
    version, UMID of 64, five figures of loudness, 180 in reserve, and a history of any length."""
    texts = b"".join(
        text.ljust(length, b"\x00")
        for text, length in (
            (b"sluice, from the bank", 256), (b"tide mill", 32), (b"TM1", 32),
            (b"2026-03-01", 10), (b"06:30:00", 8),
        )
    )  # fmt: skip
    figures = struct.pack("<5h", -2300, 700, -100, -2000, -2100)
    head = texts + struct.pack("<QH", 123_456_789, version) + bytes(range(64))
    return head + figures + bytes(180) + b"A=PCM,F=48000,W=24\r\n"


CUE = struct.pack("<I", 1) + struct.pack("<II4sIII", 1, 100, b"data", 0, 0, 100)
SMPL = struct.pack("<9I", 0, 0, 20_833, 60, 0, 0, 0, 1, 0) + struct.pack("<6I", 1, 0, 10, 90, 0, 0)
NAMES = b"adtl" + chunk(b"labl", struct.pack("<I", 1) + b"gate\x00")
IXML = b"<BWFXML><SCENE>mill pond</SCENE></BWFXML>"
TAGS = (
    b"INFO"
    + chunk(b"INAM", b"Low tide\x00")
    + chunk(b"ICMT", b"theirs\x00")
    + chunk(b"IART", b"x\x00")
)
AS_IS = {b"cue ": CUE, b"smpl": SMPL, b"iXML": IXML}


def described(path: Path, version: int = 1, kind: str = "WAV", behind: bool = True) -> Path:
    """A WAV file with all of these in front of its sound, or behind it."""
    sf.write(str(path), np.full((FRAMES, 1), 0.1), RATE, "PCM_24", format=kind)
    data = path.read_bytes()
    more = b"".join(chunk(name, content) for name, content in AS_IS.items())
    more += chunk(b"bext", bext(version)) + chunk(b"LIST", NAMES) + chunk(b"LIST", TAGS)
    more += chunk(b"odd ", b"not known")
    at = len(data) if behind else data.index(b"fmt ")
    data = data[:at] + more + data[at:]
    if kind == "WAV":
        data = data[:4] + struct.pack("<I", len(data) - 8) + data[8:]
    path.write_bytes(data)
    return path


def parts(path: Path) -> list[tuple[bytes, bytes]]:
    """Name and content of every chunk, walked by the sizes alone; they fill the file."""
    data = path.read_bytes()
    at, found = 12, []
    size = struct.unpack_from("<I", data, 4)[0]
    if data[:4] == b"RF64":
        size = struct.unpack_from("<Q", data, 20)[0]
    assert size == len(data) - 8
    while at < len(data):
        name, length = struct.unpack_from("<4sI", data, at)
        if name == b"data" and length == 0xFFFFFFFF:
            length = struct.unpack_from("<Q", data, 28)[0]
        found.append((name, data[at + 8 : at + 8 + length]))
        at += 8 + length + length % 2
    assert at == len(data)
    return found


def result(source: Path, **options: str) -> Path:
    chosen = RenderOptions(signals=("receiving",), **options)  # type: ignore[arg-type]
    return render(source, load_rig(RIG).pick(["reel"]), source.parent, chosen).outputs[0].path


@pytest.mark.parametrize("kind", ["WAV", "RF64"])
@pytest.mark.parametrize("long", [False, True])
@pytest.mark.parametrize("behind", [False, True])
def test_chunks_are_carried_as_they_are(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, long: bool, behind: bool
) -> None:
    source = described(tmp_path / "tide.wav", kind=kind, behind=behind or kind == "RF64")
    if long:
        monkeypatch.setattr(audiowriter, "RIFF_LIMIT", 1)
    path = result(source)
    monkeypatch.undo()
    assert (probe(path).format == "RF64") is long
    assert len(sf.read(path)[0]) == FRAMES
    found = parts(path)
    names = [name for name, _ in found]
    for name, content in {**AS_IS, b"bext": bext(1)}.items():
        assert names.count(name) == 1
        assert (name, content) in found
    assert (b"LIST", NAMES) in found
    assert b"odd " not in names


def test_tags_are_kept_and_the_comment_is_the_results_own(tmp_path: Path) -> None:
    path = result(described(tmp_path / "tide.wav"))
    with sf.SoundFile(str(path)) as file:
        assert (file.title, file.artist) == ("Low tide", "x")
        assert file.comment.startswith("receiving")
    assert b"theirs" not in path.read_bytes()


def test_loudness_figures_of_the_source_are_not_said_of_the_result(tmp_path: Path) -> None:
    """Tech 3285: 7FFF where a figure is not told (value from memory)."""
    found = dict(parts(result(described(tmp_path / "tide.wav", version=2))))
    wanted = bext(2)
    assert found[b"bext"] == wanted[:412] + b"\xff\x7f" * 5 + wanted[422:]


def test_floats_keep_no_time_with_chunks_behind_either(tmp_path: Path) -> None:
    source = described(tmp_path / "tide.wav")
    path = result(source, depth="FLOAT")
    found = dict(parts(path))
    assert found[b"cue "] == CUE
    assert found[b"PEAK"][4:8] == bytes(4)


def test_flac_results_and_other_sources_carry_nothing(tmp_path: Path) -> None:
    flac = result(described(tmp_path / "tide.wav"), suffix=".flac")
    assert len(sf.read(flac)[0]) == FRAMES
    assert b"mill pond" not in flac.read_bytes()
    sf.write(tmp_path / "a.flac", np.full((FRAMES, 1), 0.1), RATE)
    assert carried(tmp_path / "a.flac") == b""


def test_a_chunk_cut_short_is_left_and_one_too_long_is_refused(tmp_path: Path) -> None:
    source = described(tmp_path / "tide.wav")
    whole = source.read_bytes()
    source.write_bytes(whole + struct.pack("<4sI", b"iXML", 5_000) + b"<BWF")
    assert carried(source).count(b"iXML") == 1
    source.write_bytes(whole + struct.pack("<4sI", b"iXML", 1 << 25))
    with pytest.raises(AudioFileError, match="iXML chunk of 33554432 bytes"):
        carried(source)
