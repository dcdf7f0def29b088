"""What the command refuses, in one sentence each, and what it understands however it is typed."""

from collections.abc import Mapping, Sequence

import pytest
import soundfile as sf

from support.command import ANEW, FILTER, RATE, RENDER, Bench, Tell, facts, output, refusal, tone

FIGURES = ("figures", "sluice.toml")
NONSENSE: Mapping[str, tuple[Sequence[str], str]] = {
    "no command": ((), "COMMAND"),
    "unknown command": (("redner",), "redner"),
    "no rig": (("figures",), "RIG"),
    "no sound": (("render", "sluice.toml"), "SOUND"),
    "one file too many": ((*FIGURES, "bells.wav"), "bells.wav"),
    "unknown option": ((*FIGURES, "--loud"), "--loud"),
    "two forms at once": ((*FIGURES, "--json", "--csv"), "--json"),
    "missing rig": (("figures", "sluce.toml"), "sluce.toml: "),
    "sound for a rig": (("figures", "bells.wav"), "bells.wav: "),
    "rig and sound swapped": (("render", "bells.wav", "sluice.toml"), "bells.wav: "),
    "rig for a sound": (("render", "sluice.toml", "sluice.toml"), "not a sound file"),
    "folder for a rig": (("figures", "results"), "results: "),
    "unknown choice": ((*FIGURES, "--choice", "thinn"), "thin, thick"),
    "choices with a comma": ((*FIGURES, "--choice", "thin,thick"), "'thin,thick'"),
    "empty choice": ((*FIGURES, "--choice", ""), "''"),
    "at a word": ((*FIGURES, "--at", "treble"), "--at: 'treble'"),
    "at nothing": ((*FIGURES, "--at", ""), "--at: ''"),
    "at nan": ((*FIGURES, "--at", "nan"), "--at: 'nan'"),
    "at infinity": ((*FIGURES, "--at", "inf"), "--at: 'inf'"),
    "at below zero": ((*FIGURES, "--at", "-5"), "--at: '-5'"),
    "at a trailing comma": ((*FIGURES, "--at", "1 kHz,"), "--at: '"),
    "at a resistance": ((*FIGURES, "--at", "100 ohm"), "--at: '100 ohm'"),
    "at light": ((*FIGURES, "--at", "1e14"), "1 MHz"),
    "match zero": ((*RENDER, "--match", "0"), "--match: '0'"),
    "match below zero": ((*RENDER, "--match", "-1"), "--match: '-1'"),
    "match nan": ((*RENDER, "--match", "nan"), "--match: 'nan'"),
    "match a word": ((*RENDER, "--match", "level"), "--match: 'level'"),
    "match nothing": ((*RENDER, "--match", ""), "--match: ''"),
    "match above half the sample rate": ((*RENDER, "--match", "5 kHz"), "rate"),
    "make-up below zero": ((*RENDER, "--make-up", "-5"), "--make-up: '-5'"),
    "make-up nan": ((*RENDER, "--make-up", "nan"), "--make-up: 'nan'"),
    "make-up infinite": ((*RENDER, "--make-up", "inf"), "--make-up: 'inf'"),
    "make-up of a rocket": ((*RENDER, "--make-up", "200 dB"), "--make-up: '200 dB'"),
    "make-up in ohm": ((*RENDER, "--make-up", "20 ohm"), "--make-up: '20 ohm'"),
    "make-up of nothing": ((*RENDER, "--make-up", ""), "--make-up: ''"),
    "make-up with a decimal comma": ((*RENDER, "--make-up", "2,5"), "comma"),
    "make-up without a drop": ((*RENDER, "--signals", "receiving", "--make-up", "6"), "--make-up"),
    "across without a drop": (
        (*RENDER, "--signals", "receiving", "--across", "plus"),
        "--across: it acts on the drop, which is not among --signals",
    ),
    "filter across, not of the drop": (
        ("filter", "sluice.toml", "--choice", "thin", "--across", "minus"),
        "--across: it acts on the drop, which is not the --signal",
    ),
    "no signals": ((*RENDER, "--signals", ""), "--signals: ''"),
    "unknown signal": ((*RENDER, "--signals", "drop,hum"), "--signals: 'hum'"),
    "across nothing": ((*RENDER, "--across", "earth"), "--across"),
    "odd depth": ((*RENDER, "--depth", "20"), "--depth"),
    "floats in FLAC": (
        (*RENDER, "--depth", "float", "--flac"),
        "32-bit float; FLAC takes 16 bit or",
    ),
    "tail nan": ((*RENDER, "--tail", "nan"), "--tail: 'nan'"),
    "tail below zero": ((*RENDER, "--tail", "-1"), "--tail: '-1'"),
    "tail of an hour": ((*RENDER, "--tail", "3600"), "--tail: '3600'"),
    "tail of no number": ((*RENDER, "--tail", "long"), "from 0 s to 60 s"),
    "tail of two minutes": ((*RENDER, "--tail", "2 min"), "--tail: '2 min'"),
    "tail in metres": ((*RENDER, "--tail", "2 m"), "--tail: '2 m'"),
    "missing sound": (("render", "sluice.toml", "knells.wav"), "knells.wav"),
    "folder of a file": (
        ("render", "sluice.toml", "bells.wav", "--into", "bells.wav/x"),
        "not a directory",
    ),
    "new folder of too long a name": ((*ANEW[:-1], "new/" + "x" * 300), "too long"),
    "new folder for a missing sound": (
        ("render", "sluice.toml", "x.wav", "--into", "new"),
        "x.wav",
    ),
    "new folder for floats in FLAC": ((*ANEW, "--depth", "float", "--flac"), "FLAC"),
    "new folder for a match out of reach": ((*ANEW, "--match", "5 kHz"), "rate"),
    "new folder for a choice that is none": ((*ANEW, "--choice", "thinn"), "thin, thick"),
    "file for a folder": (
        ("render", "sluice.toml", "bells.wav", "--into", "bells.wav"),
        "bells.wav",
    ),
    "filter of two choices": (FILTER, "thin, thick"),
    "filter of no known kind": ((*FILTER, "--as", "mp3", "--choice", "thin"), "--as"),
    "filter into a file": ((*FILTER, "--into", "sluice.toml", "--choice", "thin"), "sluice.toml"),
    "plot of no known kind": (("plot", "sluice.toml", "--as", "gif"), "--as"),
    "sections of minimum phase": (
        (*FILTER, "--as", "json", "--choice", "thin", "--minimum-phase"),
        "--minimum-phase",
    ),
    "plugin of one signal": (
        (*FILTER, "--as", "dsp", "--signal", "drop"),
        "--signal: a dsp has source, receiving end and drop",
    ),
    "plugin of minimum phase": ((*FILTER, "--as", "dsp", "--minimum-phase"), "--minimum-phase"),
    "plugin at no rate": ((*FILTER, "--as", "dsp", "--rate", "0"), "8000"),
    "plugin of an unknown choice": ((*FILTER, "--as", "dsp", "--choice", "thinn"), "thin, thick"),
    "filter at no rate": ((*FILTER, "--choice", "thin", "--rate", "0"), "8000"),
    "filter at a rate below zero": (
        (*FILTER, "--choice", "thin", "--rate", "-48000"),
        "192000",
    ),
    "filter at a rate of no number": (
        (*FILTER, "--choice", "thin", "--rate", "fast"),
        "Hz",
    ),
    "filter at half a hertz": (
        (*FILTER, "--choice", "thin", "--rate", "48000.5"),
        "whole number of Hz",
    ),
    "filter at a rate in seconds": (
        (*FILTER, "--choice", "thin", "--rate", "48 s"),
        "--rate: '48 s'",
    ),
    "filter of an unknown signal": (
        (*FILTER, "--choice", "thin", "--signal", "hum"),
        "hum",
    ),
    "demo into a file": (("demo", "bells.wav"), "bells.wav"),
    "demo into a folder of a file": (("demo", "bells.wav/x"), "bells.wav"),
}


@pytest.mark.parametrize(("arguments", "says"), NONSENSE.values(), ids=NONSENSE.keys())
def test_nonsense_is_refused_in_one_sentence(
    bench: Bench, tell: Tell, arguments: Sequence[str], says: str
) -> None:
    before = sorted(bench.folder.rglob("*"))
    assert says in refusal(tell(*arguments))
    assert sorted(bench.folder.rglob("*")) == before


@pytest.mark.parametrize("where", ["1 MHz", "0.5 MHz,1 kHz"])
def test_the_units_of_an_error_message_can_be_typed(tell: Tell, where: str) -> None:
    """Refusing 1e14 Hz, the command says "from 0 Hz to 1 MHz"."""
    output(tell(*FIGURES, "--csv", "--at", where))


@pytest.mark.parametrize(
    "options", [("--at", "1khz"), ("--at", "1 KHZ"), ("--at", "1K")], ids=["khz", "KHZ", "K"]
)
def test_a_frequency_is_understood_in_any_case(tell: Tell, options: Sequence[str]) -> None:
    """The command looks for "hz" in any case, so it must also read what it found."""
    assert ",1000.0," in output(tell(*FIGURES, "--csv", *options))


@pytest.mark.parametrize("level", ["6", "6dB", "6 dB", "6 db"])
def test_a_level_is_understood_in_any_case(bench: Bench, tell: Tell, level: str) -> None:
    output(tell(*RENDER, "--signals", "drop", "--choice", "thin", "--make-up", level))
    assert facts(bench, "bells.thin.drop.make-up-6dB.wav.json")["gain_db"]["makeup"] == 6.0


@pytest.mark.parametrize("tail", ["0.25", "0.25 s", "250 ms", "0.25 Seconds"])
def test_a_time_has_seconds_or_its_own_unit(bench: Bench, tell: Tell, tail: str) -> None:
    output(tell(*RENDER, "--signals", "drop", "--choice", "thin", "--tail", tail))
    assert (
        sf.info(bench.results / "bells.thin.drop.tail-0.25s.wav").frames == len(tone()) + RATE // 4
    )


@pytest.mark.parametrize("rate", ["44100", "44100 Hz", "44.1 kHz", "44.1k"])
def test_a_sample_rate_has_hertz_or_its_own_unit(tell: Tell, rate: str) -> None:
    options = ("--choice", "thin", "--rate", rate)
    assert " at 44100 Hz, " in output(tell(*FILTER, *options))
