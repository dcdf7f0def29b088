"""The cue sheet against its open description, and against a program that others wrote."""

import re
import shutil
import subprocess
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from auralize.handover.cue_sheet import cue_sheet, cue_time, grid

RATES = st.integers(8_000, 192_000)
HOSTILE = ['a "quoted" one', "two\nlines\r\n", "x" * 10_000, "\u202egnp.exe", "🔔" * 200, "", "\\"]


@pytest.mark.parametrize(
    ("rate", "samples"),
    [(44_100, 588), (48_000, 640), (96_000, 1280), (32_000, 1280), (8_000, 320)],
)
def test_samples_between_instants_that_can_be_told(rate, samples):
    """588 samples a frame are those of the compact disc (IEC 60908, value from memory)."""
    assert grid(rate) == samples


@given(RATES, st.integers(0, 5_000))
def test_times_on_the_grid_are_exact_at_any_rate(rate, number):
    sample = number * grid(rate)
    minutes, seconds, frames = map(int, cue_time(sample, rate).split(":"))
    assert seconds < 60
    assert frames < 75
    assert 60 * minutes + seconds + Fraction(frames, 75) == Fraction(sample, rate)


def test_a_time_of_the_manual():
    """INDEX 02 03:23:54, in the manual of GNU ccd2cue, section INDEX (CUE Command)."""
    assert cue_time((203 * 75 + 54) * 588, 44_100) == "03:23:54"


@pytest.mark.parametrize(("sample", "rate"), [(1, 48_000), (641, 48_000), (427, 32_000)])
def test_what_is_off_the_grid_is_refused(sample, rate):
    with pytest.raises(ValueError, match="not at a whole 1/75 s"):
        cue_time(sample, rate)


def test_the_form_of_the_manual():
    text = cue_sheet("Mill", "track.wav", [("Source", 0), ("Reel", 48_000)], 48_000, "made by")
    assert text == (
        'REM made by\nTITLE "Mill"\nFILE "track.wav" WAVE\n'
        '  TRACK 01 AUDIO\n    TITLE "Source"\n    INDEX 01 00:00:00\n'
        '  TRACK 02 AUDIO\n    TITLE "Reel"\n    INDEX 01 00:01:00\n'
    )


@pytest.mark.parametrize("title", HOSTILE)
def test_any_title_stays_on_its_line_and_in_its_quotes(title):
    text = cue_sheet(title, "track.wav", [(title, 0)], 48_000, title)
    assert all(line.isprintable() for line in text.splitlines())
    titles = [line for line in text.split("\n") if line.lstrip().startswith("TITLE")]
    assert len(titles) == 2
    for line in titles:
        found = re.fullmatch(r' *TITLE "([^"]{0,80})"', line)
        assert found, line
        assert found[1][:5] == title.replace('"', "'")[:5] or not title.isprintable()


def test_no_more_parts_than_the_form_has_numbers_for():
    parts = [("part", 640 * number) for number in range(100)]
    assert "TRACK 99 " in cue_sheet("", "track.wav", parts[:99], 48_000, "")
    with pytest.raises(ValueError, match="holds 99 tracks"):
        cue_sheet("", "track.wav", parts, 48_000, "")


@pytest.mark.skipif(
    shutil.which("cuebreakpoints") is None, reason="cuebreakpoints of Debian's cuetools is missing"
)
def test_another_program_reads_the_same_times(tmp_path):
    starts = [0, 640 * 3, 640 * 75 * 61, 640 * (75 * 3599 + 74)]
    parts = [(title, start) for title, start in zip(HOSTILE, starts, strict=False)]
    sheet = tmp_path / "track.cue"
    sheet.write_text(cue_sheet('the "mill"', "track.wav", parts, 48_000, "made"))
    told = subprocess.run(["cuebreakpoints", sheet], capture_output=True, text=True, check=True)
    assert told.stdout.split() == ["0:00.03", "1:01.00", "59:59.74"]
    assert not told.stderr
