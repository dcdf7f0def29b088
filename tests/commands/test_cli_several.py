"""Several sound files at the command line: what is printed, the exit code, excerpts as typed."""

import shutil

import pytest
import soundfile as sf

from support.command import RATE, Bench, Tell, facts, output, refusal, tone

INTO = ("--into", "results", "--choice", "thin", "--signals", "receiving")


@pytest.fixture
def songs(bench: Bench) -> Bench:
    (bench.folder / "songs").mkdir()
    for name in ("rope.wav", "wheel.wav"):
        shutil.copy(bench.programme, bench.folder / "songs" / name)
    return bench


def test_a_folder_and_a_file_are_rendered_and_summed_up(songs: Bench, tell: Tell) -> None:
    said = output(tell("render", "sluice.toml", "bells.wav", *INTO, "songs"))
    assert said.splitlines()[-1] == "3 of 3 sound files were rendered."
    assert {name.partition(".")[0] for name in songs.left()} == {"bells", "rope", "wheel"}
    assert said.count("Aligned with the source") == 1


def test_some_that_failed_are_named_and_the_exit_code_is_1(songs: Bench, tell: Tell) -> None:
    (songs.folder / "songs" / "storm.wav").write_text("no sound")
    done = tell("render", "sluice.toml", "songs", *INTO)
    assert done.returncode == 1
    assert done.stderr == "auralize: of 3 sound files 1 failed: storm.wav\n"
    assert "2 of 3 sound files were rendered.\nNot rendered: songs/storm.wav" in done.stdout
    assert {name.partition(".")[0] for name in songs.left()} == {"rope", "wheel"}


def test_what_is_wrong_with_all_of_them_is_bad_usage(songs: Bench, tell: Tell) -> None:
    for options in (
        ("--across", "plus"),
        ("--choice", "thinn"),
        ("--for", "0"),
        ("--from", "1:60"),
    ):
        refusal(tell("render", "sluice.toml", "songs", "--into", "new", *options))
    assert not (songs.folder / "new").exists()
    assert "empty" not in refusal(tell("render", "sluice.toml", "results", *INTO))


@pytest.mark.parametrize(
    ("typed", "seconds"),
    [("0.25", 0.25), ("250 ms", 0.25), ("0:00.25", 0.25), ("0:0.25", 0.25)],
)
def test_where_an_excerpt_begins_is_understood(
    bench: Bench, tell: Tell, typed: str, seconds: float
) -> None:
    output(tell("render", "sluice.toml", "bells.wav", *INTO, "--from", typed, "--for", "0.1 s"))
    name = "bells.from-0.25s.for-0.1s.thin.receiving.wav"
    assert sf.info(bench.results / name).frames == RATE // 10
    told = facts(bench, f"{name}.json")["excerpt"]
    assert told == {"from_s": seconds, "for_s": 0.1, "fade_s": 0.01}


@pytest.mark.parametrize("start", ["soon", "-1", "1:75", "a:10", "1:-5", "nan", "2 days", ":"])
def test_a_beginning_that_is_no_time_is_refused(bench: Bench, tell: Tell, start: str) -> None:
    assert "--from" in refusal(tell("render", "sluice.toml", "bells.wav", *INTO, f"--from={start}"))


def test_mono_and_source_are_options(bench: Bench, tell: Tell) -> None:
    said = output(
        tell("render", "sluice.toml", "bells.wav", *INTO[:4], "--mono", "--signals", "source,drop")
    )
    assert "bells.mono.source.wav" in said
    samples, _ = sf.read(bench.results / "bells.mono.source.wav")
    assert samples == pytest.approx(tone().mean(axis=1), abs=2e-7)
    assert "no result is among them" in refusal(
        tell("render", "sluice.toml", "bells.wav", *INTO[:4], "--signals", "source")
    )
