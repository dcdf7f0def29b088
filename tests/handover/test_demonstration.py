"""The demonstration set: its files against `render`, and all that goes with them against each other."""

import json
import re
import subprocess
from dataclasses import replace

import numpy as np
import pytest
import soundfile as sf

from auralize.audio.reader import clock
from auralize.errors import FileError, RequestError
from auralize.gains import LOUDNESS
from auralize.handover.demonstration import LONGEST_NAME, Imprint, demonstration
from auralize.outputs import sidecar
from auralize.renderer.files import render
from auralize.renderer.options import USUAL, RenderOptions
from auralize.renderer.take import Excerpt
from auralize.renderer.text import as_gains
from support import rig_text

IMPRINT = Imprint("Saltmarsh Tide Mill", "2026-05-01", "0123456789abcdef")
CHOICES = """
[choices.reel]
label = "62 m off its reel"
runs.pond.length = "62 m"
[choices.short]
runs.pond.length = "31 m"
"""
HOSTILE = ["<script>'", "..a", "CON", 'c:d*?|"', "n" * 60, "مضخة", "🔔", " é "]


def rig(folder, choices=CHOICES):
    return rig_text.read(folder, rig_text.text(loads=rig_text.driver(), choices=choices))


def programme(path, seconds=1.6, rate=48_000, channels=2, subtype="PCM_24", level=0.2):
    noise = np.random.default_rng(5).normal(0, level, (round(seconds * rate), channels))
    sf.write(path, noise, rate, subtype)
    return path


def made(folder, choices, options=USUAL, imprint=IMPRINT, **sound):
    source = programme(folder / "bells.wav", **sound)
    into = folder / "demonstration"
    into.mkdir()
    shares = []
    files = demonstration(source, choices, into, imprint, options, progress=shares.append)
    assert shares == sorted(shares)
    assert shares[-1] == 1.0
    assert sorted(path.name for path in into.iterdir()) == sorted(path.name for path in files)
    return {path.name: path for path in files}


def read(path):
    return sf.read(path, always_2d=True)[0]


@pytest.fixture(scope="module")
def whole(tmp_path_factory):
    """A set of an excerpt, matched in loudness, and what `render` makes with the same options."""
    folder = tmp_path_factory.mktemp("set")
    choices = rig(folder).pick([])
    options = RenderOptions(match=LOUDNESS, excerpt=Excerpt(0.2, 1.2))
    files = made(folder, choices, options)
    asked = replace(options, source=True, depth="PCM_24")
    return files, render(folder / "bells.wav", choices, folder / "rendered", asked)


NAMES = {
    ("source", ""): "01-source.wav",
    ("receiving", "reel"): "02-receiving-reel.wav",
    ("receiving", "short"): "03-receiving-short.wav",
    ("drop", "reel"): "04-drop-reel.wav",
    ("drop", "short"): "05-drop-short.wav",
}


def test_the_files_hold_what_render_writes(whole):
    files, done = whole
    assert list(files) == [*NAMES.values(), "track.wav", "track.cue", "gains.txt", "SHA256SUMS"]
    for output in done.outputs:
        assert np.array_equal(read(files[NAMES[output.signal, output.choice]]), read(output.path))


def test_the_text_has_gains_and_levels_as_render_prints_them(whole):
    files, done = whole
    text = files["gains.txt"].read_text(encoding="utf-8")
    printed = as_gains(done)
    for output in done.outputs:
        row = re.search(rf"{re.escape(output.path.name)}\s+(.*)", printed)[1].split()
        told = re.search(rf"{NAMES[output.signal, output.choice]}  +(.*)", text)[1].split()
        assert told == row
    assert printed.splitlines()[0] in text
    told = json.loads(sidecar(done.outputs[0].path).read_text())
    assert f"{told['gain_db']['match']:+.2f}" in text


def test_the_text_says_what_it_is_how_it_was_made_and_to_start_quiet(whole):
    files, _ = whole
    text = files["gains.txt"].read_text(encoding="utf-8")
    assert text.startswith("Saltmarsh Tide Mill\n===================\n")
    plain = " ".join(text.split())
    for words in (
        "made of bells.wav, from 0:00.200 to 0:01.400, faded in 10 ms where it was cut off",
        "Start quiet",
        "approves no wiring",
        "choice 1, reel: what arrives, at load stage",
        "62 m off its reel",
        "2026-05-01; fingerprint 0123456789abcdef",
    ):
        assert words in plain
    assert "Caution: " not in plain
    assert max(map(len, text.splitlines())) <= 80


def parsed(sheet):
    """File, and of each part title and frames of 1/75 s, read by nothing of ours."""
    text = sheet.read_text(encoding="utf-8")
    tracks = re.findall(
        r'  TRACK (\d\d) AUDIO\n    TITLE "([^"\n]+)"\n    INDEX 01 (\d\d):(\d\d):(\d\d)\n', text
    )
    assert [int(number) for number, *_ in tracks] == list(range(1, len(tracks) + 1))
    times = [(int(m) * 60 + int(s)) * 75 + int(f) for *_, m, s, f in tracks]
    return re.search(r'^FILE "(.*)" WAVE$', text, re.MULTILINE)[1], [t[1] for t in tracks], times


def starts(text):
    """Of each part the samples at which it and its passage begin, as the text tells them."""
    row = r"^\d+ +\d+:\d\d\.\d{3} +(\d+) +\d+:\d\d\.\d{3} +(\d+) +-\d+\.\d$"
    return [(int(a), int(b)) for a, b in re.findall(row, text, re.MULTILINE)]


def check_track(files, order, suffix=".wav"):
    """Cue sheet, text and track say one thing; ``order`` names the file heard in each part."""
    name, titles, times = parsed(files["track.cue"])
    assert name == f"track{suffix}"
    heard, rate = sf.read(files[name], always_2d=True)
    text = files["gains.txt"].read_text(encoding="utf-8")
    told = starts(text)
    assert [at * 75 for at, _ in told] == [frames * rate for frames in times]
    for (begin, passage), file, title in zip(told, order, titles, strict=True):
        assert f"  {title}\n" in text
        assert f"{clock(begin, rate)} " in text
        assert not heard[begin : begin + rate // 2].any()
        if file is not None:
            samples = read(files[f"{file}{suffix}"])
            middle = slice(rate // 2, len(samples) - round(0.015 * rate))
            assert np.array_equal(heard[passage : passage + len(samples)][middle], samples[middle])
            assert samples[middle].any()
    return heard


ORDER = [
    "01-source",
    "02-receiving-reel",
    "03-receiving-short",
    None,
    "04-drop-reel",
    "05-drop-short",
]


def test_cue_sheet_text_and_track_agree_to_the_sample(whole):
    files, _ = whole
    heard = check_track(files, ORDER)
    text = files["gains.txt"].read_text(encoding="utf-8")
    turns = re.findall(r"^4 +\d+:\d\d\.\d{3} +(\d+) +choice (\d)$", text, re.MULTILINE)
    assert [choice for _, choice in turns] == ["1", "2"]
    passage = starts(text)[3][1]
    ends = [int(turns[1][0]), passage + len(read(files["01-source.wav"])) - 720]
    for (at, choice), end in zip(turns, ends, strict=True):
        file = read(files[ORDER[int(choice)] + ".wav"])
        alone = slice(int(at) + 720 - passage, end - passage)
        assert np.array_equal(heard[int(at) + 720 : end], file[alone])


def test_drops_are_announced_by_lower_tones(whole):
    files, _ = whole
    heard = read(files["track.wav"])[:, 0]
    told = starts(files["gains.txt"].read_text(encoding="utf-8"))
    highest = []
    for begin, passage in told:
        power = np.abs(np.fft.rfft(heard[begin:passage]))
        highest.append(power.argmax() * 48_000 / (passage - begin))
    assert highest == pytest.approx([1000.0] * 4 + [500.0] * 2, rel=0.01)


def test_checksums_are_taken_by_sha256sum(whole):
    files, _ = whole
    folder = files["SHA256SUMS"].parent
    told = subprocess.run(
        ["sha256sum", "--strict", "-c", "SHA256SUMS"], cwd=folder, capture_output=True, text=True
    )
    assert told.returncode == 0, told.stderr
    assert [line.removesuffix(": OK") for line in told.stdout.splitlines()] == list(files)[:-1]


@pytest.mark.parametrize(
    ("rate", "channels", "suffix"),
    [(44_100, 2, ".flac"), (96_000, 1, ".wav"), (8_000, 1, ".flac"), (32_000, 2, ".wav")],
)
def test_other_rates_mono_and_flac(tmp_path, rate, channels, suffix):
    options = RenderOptions(suffix=suffix)
    files = made(
        tmp_path, rig(tmp_path).pick([]), options, rate=rate, channels=channels, subtype="PCM_16"
    )
    heard = check_track(files, ORDER, suffix)
    assert heard.shape[1] == channels
    assert 20 * np.log10(np.abs(heard).max()) <= -1.0
    assert {sf.info(files[f"{name}{suffix}"]).subtype for name in ("track", ORDER[0])} == {"PCM_24"}


def test_made_twice_the_same_bytes_on_whatever_day(tmp_path, monkeypatch):
    choices = rig(tmp_path).pick([])
    twice = []
    for name, day in (("one", "0"), ("two", "1000000000")):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", day)
        (tmp_path / name).mkdir()
        files = made(tmp_path / name, choices, seconds=0.5)
        twice.append({name: path.read_bytes() for name, path in files.items()})
    assert twice[0] == twice[1]
    assert b"2026-05-01" in twice[0]["01-source.wav"]


def test_silence_stays_silence_and_is_called_so(tmp_path):
    options = RenderOptions(tail=0.2)
    files = made(
        tmp_path, rig(tmp_path).pick(["reel"]), options, seconds=0.5, rate=8_000, level=0.0
    )
    text = files["gains.txt"].read_text(encoding="utf-8")
    assert len(re.findall(r"^0\d-\S+ .* silent +silent$", text, re.MULTILINE)) == 3
    assert "from 0:00.000 to 0:00.500." in text
    assert len(read(files["01-source.wav"])) == 5_600
    assert not read(files["03-drop-reel.wav"]).any()
    assert text.count("-50.0\n") == len(starts(text)) == 4


def test_a_drop_much_louder_than_the_source_is_a_caution(tmp_path):
    options = RenderOptions(makeup=40.0)
    files = made(tmp_path, rig(tmp_path).pick(["reel"]), options, seconds=0.5, rate=8_000)
    text = " ".join(files["gains.txt"].read_text(encoding="utf-8").split())
    levels = re.findall(r"0\d-[a-z-]+\.wav [^a-z]* (-\d+\.\d\d) -\d+\.\d\d(?= )", text)
    by = float(levels[2]) - float(levels[0])
    assert by > 6.0
    assert f"Caution: 03-drop-reel.wav is {by:.1f} dB louder than 01-source.wav." in text
    assert "The passage of part 4 comes up in 2 s at most" in text


def test_one_choice_takes_turns_with_the_source(tmp_path):
    files = made(tmp_path, rig(tmp_path).pick(["short"]))
    check_track(files, ["01-source", "02-receiving-short", None, "03-drop-short"])
    assert parsed(files["track.cue"])[1][2] == "Source and choice 1 in turn, receiving end"
    assert len(re.findall(r"^3 .* (?:source|choice 1)$", files["gains.txt"].read_text(), re.M)) == 2


def test_hostile_words_do_no_harm(tmp_path):
    labels = ["</pre>\u2028\n# x", "\u202egnp.exe", "é" * 10_000]
    choices = "".join(
        f'[choices.{json.dumps(name, ensure_ascii=False)}]\nruns.pond.length = "{10 + at} m"\n'
        for at, name in enumerate(HOSTILE)
    )
    imprint = replace(IMPRINT, title='"; rm -rf\n' + "y" * 10_000)
    read = rig(tmp_path, choices).pick(
        []
    )  # a rig file's labels are on one line; others need not be
    choices = [replace(choice, label=labels[at % 3]) for at, choice in enumerate(read)]
    files = made(tmp_path, choices, imprint=imprint, seconds=0.1, rate=8_000)
    for name in files:
        assert re.fullmatch(r"[A-Za-z0-9.-]+", name)
        assert len(name.rpartition(".")[0]) <= LONGEST_NAME
    assert sorted(list(files)[:17]) == list(files)[:17]
    for name in ("gains.txt", "track.cue"):
        lines = files[name].read_text(encoding="utf-8").split("\n")
        assert all(line.isprintable() for line in lines)
    assert len(parsed(files["track.cue"])[1]) == 24
    assert max(map(len, files["gains.txt"].read_text(encoding="utf-8").split("\n"))) <= 80


def test_a_loudspeaker_with_a_long_name_is_no_hindrance(tmp_path):
    """What is said inside a sound file has an end: libsndfile reads back no more."""
    name = "n" * 3000
    loads = rig_text.load() + rig_text.load(name)
    listened = rig_text.read(tmp_path, rig_text.text('listen = "stage"', loads=loads)).pick([])
    choices = [choice.at(name) for choice in listened]
    files = made(tmp_path, choices, seconds=0.1, rate=8_000)
    with sf.SoundFile(files[next(name for name in files if "receiving" in name)]) as file:
        assert "at nnn" in file.comment
    assert max(map(len, files["gains.txt"].read_text(encoding="utf-8").split("\n"))) <= 80


def test_a_folder_with_something_in_it_is_left_alone(tmp_path):
    source = programme(tmp_path / "bells.wav", 0.1)
    choices = rig(tmp_path).pick([])
    before = sorted(tmp_path.iterdir())
    with pytest.raises(FileError, match="made in an empty folder"):
        demonstration(source, choices, tmp_path, IMPRINT)
    assert sorted(tmp_path.iterdir()) == before


def test_more_choices_than_a_cue_sheet_has_numbers_for_are_refused(tmp_path):
    choices = rig(tmp_path).pick(["reel"]) * 34
    with pytest.raises(RequestError, match="33 choices at most, and 34 were asked for"):
        demonstration(tmp_path / "bells.wav", choices, tmp_path, IMPRINT)
