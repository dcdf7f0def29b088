"""The installed command in a real terminal (tmux), playing into a real sound server's null sink."""

import os
import re
import shutil
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile as sf

from support.sound_server import RATE, SoundServer, missing

pytest.importorskip("tomlkit", reason="the bench edits with tomlkit (extra: bench)")
pytestmark = pytest.mark.skipif(
    bool(missing()) or shutil.which("tmux") is None,
    reason=f"no real terminal and sound server here: {missing() or 'tmux is not installed'}",
)
COMMAND = Path(sys.executable).parent / "auralize"
DEMO = Path(__file__).parents[2] / "audio_demo" / "saltmarsh.toml"


class Terminal:
    """A tmux server of its own, 80 x 24, and what is on its screen."""

    def __init__(self, folder, environment):
        self._tmux = ["tmux", "-L", f"auralize-{os.getpid()}", "-f", "/dev/null"]
        self._environment = {**environment, "TMUX_TMPDIR": str(folder), "TERM": "xterm"}

    def tmux(self, *arguments):
        done = subprocess.run(
            [*self._tmux, *arguments],
            env=self._environment,
            capture_output=True,
            text=True,
            check=True,
        )
        return done.stdout

    def run(self, command):
        self.tmux("new-session", "-d", "-x", "80", "-y", "24", command)

    def press(self, *keys):
        for key in keys:
            self.tmux("send-keys", key)
            time.sleep(0.15)

    def screen(self):
        return self.tmux("capture-pane", "-p")

    def wait_until_gone(self, words, seconds=30.0):
        """Until the screen is without ``words``."""
        deadline = time.monotonic() + seconds
        while words in (shown := self.screen()):
            assert time.monotonic() < deadline, f"{words!r} stays:\n{shown}"
            time.sleep(0.1)

    def wait_for(self, words, seconds=30.0):
        """The screen once ``words`` are on it."""
        deadline = time.monotonic() + seconds
        while words not in (shown := self.screen()):
            assert time.monotonic() < deadline, f"{words!r} did not come:\n{shown}"
            time.sleep(0.1)
        return shown

    def close(self):
        subprocess.run(
            [*self._tmux, "kill-server"], env=self._environment, capture_output=True, check=False
        )


@pytest.fixture
def mill(tmp_path):
    shutil.copy(DEMO, tmp_path / "mill.toml")
    t = np.arange(8 * RATE) / RATE
    sf.write(tmp_path / "tone.wav", 0.5 * np.sin(2 * np.pi * 500 * t), RATE, "PCM_24")
    return tmp_path


def _folder(mill):
    folder = mill / "server"
    folder.mkdir()
    return folder


def test_the_bench_plays_switches_edits_and_quits(mill):
    with SoundServer(_folder(mill)) as server:
        recording = server.record(mill / "heard.raw")
        terminal = Terminal(mill, server.environment)
        try:
            terminal.run(f"cd {mill}; {COMMAND} bench mill.toml tone.wav; echo EXIT $?; sleep 60")
            shown = terminal.wait_for("playing on")
            assert "Starts quiet" in shown
            terminal.press("2", "Space")
            terminal.wait_for("THE RECEIVING END of bought")
            terminal.press("d", "m")
            terminal.wait_for("THE DROP OVER BOTH CONDUCTORS of bought")
            terminal.wait_for("matched in loudness")
            terminal.press("e", "Enter")
            terminal.wait_for("Edit bought")
            terminal.press("C-u", "9", "0", "Space", "m", "Enter")
            # Not for the news of it: on a busy machine gaps are news too, and there is room for two.
            terminal.wait_for("-1.31 dB 1 kHz")
            terminal.press("w")
            terminal.wait_until_gone("(not saved)")  # its news may make room for others, as above
            terminal.press("r")
            time.sleep(1.0)
            terminal.press("q")
            assert "EXIT 0" in terminal.wait_for("EXIT")
        finally:
            terminal.close()
            recording.terminate()
            recording.wait()
    assert "90 m" in (mill / "mill.toml").read_text()
    assert "# the load that the damping factor refers to" in (mill / "mill.toml").read_text()
    heard = np.fromfile(mill / "heard.raw", dtype=np.float32).reshape(-1, 2)
    loud = heard[np.abs(heard[:, 0]) > 1e-3]
    assert len(loud) > RATE  # it was really played
    assert np.max(np.abs(heard)) < 0.2  # and started quiet


def test_without_a_sound_server_it_says_so_and_still_works(mill):
    with SoundServer(_folder(mill)) as server:
        environment = dict(server.environment)
    terminal = Terminal(mill, environment)
    try:
        terminal.run(f"cd {mill}; {COMMAND} bench mill.toml tone.wav; echo EXIT $?; sleep 60")
        terminal.wait_for("there is no output device")
        terminal.press("3")
        terminal.wait_for("THE RECEIVING END of beams")
        terminal.press("q")
        assert "EXIT 0" in terminal.wait_for("EXIT")
    finally:
        terminal.close()


def _sent(mill, settings, keys):
    """All that the bench sends to a terminal of these settings, from its start to its end."""
    with SoundServer(_folder(mill)) as server:
        environment = dict(server.environment)
    terminal, sent = Terminal(mill, environment), mill / "sent"
    try:
        terminal.run("sleep 600")
        terminal.tmux("set-option", "remain-on-exit", "on")
        terminal.tmux("pipe-pane", f"cat > {sent}")
        unset = " ".join(f"-u {n}" for n in ("LC_ALL", "LC_CTYPE", "COLORTERM", "AURALIZE_DOTS"))
        bench = f"cd {mill}; env {unset} {settings} {COMMAND} bench"
        terminal.tmux("respawn-pane", "-k", f"{bench} mill.toml tone.wav; echo EXIT $?; sleep 60")
        terminal.wait_for("there is no output device")
        terminal.press(*keys)
        terminal.wait_for("1 kHz  1 ")
        shown = terminal.screen()
        terminal.press("q")
        assert "EXIT 0" in terminal.wait_for("EXIT")
    finally:
        terminal.close()
    return sent.read_bytes().decode("utf-8"), shown


def _colours(sent):
    """Parameters of SGR that set a colour, as ECMA-48 numbers them; 39 and 49 take it back."""
    found = re.findall(r"\x1b\[([\d;:]*)m", sent)
    codes = [int(code) for codes in found for code in re.split("[;:]", codes) if code]
    return {c for c in codes if c // 10 in (3, 4, 9, 10) and c not in (39, 49)}


FINE = re.compile("[\u2800-\u28ff\u2581-\u2588]")
"""Braille, and the bars of the programme."""


@pytest.mark.parametrize("settings", ["LANG=C TERM=xterm", "LANG=C.UTF-8 TERM=vt100"])
def test_curves_are_of_plain_characters_where_the_terminal_may_have_no_others(mill, settings):
    sent, shown = _sent(mill, settings, ["2", "d", ">"])
    assert not FINE.search(sent)
    assert "|" in shown
    assert re.search("22222", shown)  # the curve of the choice, in its mark


def test_no_colour_is_sent_where_none_is_wanted(mill):
    sent, _ = _sent(mill, "NO_COLOR=1 LANG=C.UTF-8 TERM=xterm-256color", ["2", "d", "m", ">"])
    assert FINE.search(sent)
    assert not _colours(sent)


def test_colours_are_sent_where_they_are(mill):
    sent, _ = _sent(mill, "LANG=C.UTF-8 TERM=xterm-256color", ["2", "d", ">"])
    assert FINE.search(sent)
    assert _colours(sent)
