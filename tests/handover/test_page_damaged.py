"""A page that cannot play says so where the player would be, in one sentence, and never on the console."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from support.handed_pages import material, written

SEEN = (
    "const seen = (id) => document.getElementById(id)?.checkVisibility() ?? false;"
    "return [['player', 'now', 'coming', 'trouble'].filter(seen), trouble.textContent]"
)
STOPPED = "await bench.ready.catch(() => {});"


@pytest.fixture(scope="module")
def page(tmp_path_factory) -> Path:
    return written(
        tmp_path_factory.mktemp("page"), *material(tmp_path_factory.mktemp("made"), steps=None)
    )


def damaged(page: Path, pattern: str, instead: str) -> Path:
    """The same page, with something else where the pattern first is."""
    path = page.with_name("damaged.html")
    path.write_text(re.sub(pattern, instead, page.read_text("utf-8"), count=1), encoding="utf-8")
    return path


@pytest.mark.parametrize(
    ("pattern", "instead"),
    [
        (r'("kind":"audio/flac",.*?"data":)"\w+', r'\1"'),
        (r'"data":".', '"data":"!'),
        (r'"taps":".', '"taps":"!'),
        (r'"signals":\[.*?\]', '"signals":[]'),
        (r'"rate":48000', '"rate":1'),
        (r'(id="data">)\{', r"\1"),
        (r'(id="texts">)\{', r"\1"),
    ],
)
def test_what_is_damaged_is_told(chromium, page, pattern, instead) -> None:
    spoilt = damaged(page, pattern, instead)
    assert spoilt.read_bytes() != page.read_bytes()
    chromium.open(spoilt)
    there, words = chromium.run(STOPPED + SEEN)
    assert there == ["trouble"]
    assert words.startswith("This page cannot be played: its file was damaged")
    assert chromium.console == []


@pytest.mark.parametrize("pattern", [r"(?s)<script>.*", r"(?s)\"taps\":\".*"])
def test_a_page_that_was_copied_in_part_tells_of_it(chromium, page, pattern) -> None:
    chromium.open(damaged(page, pattern, ""))
    assert chromium.run(SEEN) == [["coming"], ""]
    assert chromium.console == []


def test_a_page_that_plays_says_nothing_of_it(chromium, page) -> None:
    chromium.open(page)
    assert chromium.run("await bench.ready;" + SEEN) == [["player", "now"], ""]


def test_where_there_is_no_device_it_says_so_and_can_be_asked_again(chromium, page) -> None:
    chromium.open(page)
    refused = chromium.run(
        "await bench.ready;"
        "const There = AudioContext;"
        "globalThis.AudioContext = class { constructor() { throw new DOMException('none'); } };"
        "play.click();"
        "globalThis.AudioContext = There;"
        "return [bench.sound.playing, play.textContent, trouble.hidden, trouble.textContent]"
    )
    assert refused[:3] == [False, "Play", False]
    assert "found nothing to play through" in refused[3]
    assert chromium.run("play.click(); return [bench.sound.playing, trouble.hidden]") == [
        True,
        True,
    ]
    assert chromium.console == []
