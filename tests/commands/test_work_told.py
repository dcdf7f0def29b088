"""What takes long is named on a terminal, and only there, while it is worked out; then it is wiped."""

from __future__ import annotations

import io
import sys
import time
from typing import Any

import pytest

from auralize.commands import progress
from auralize.rig import lays, work
from support.command import OK, Bench, Tell

COILED = """
[amplifier]
resistance = "20 mohm"
[cables.twin]
construction = "twin"
conductor = "2.5 mm2"
insulation = "1 mm"
[runs.pond]
cable = "twin"
length = "{length} m"
lay = {{ shape = "coiled", mean_diameter = "40 cm" }}
[loads.stage]
type = "resistor"
resistance = "8 ohm"
"""
COMMANDS = {
    "figures": (),
    "filter": ("--rate", "8 kHz"),
    "plot": (),
    "fit": ("--loss", "0.5 dB"),
    "render": ("bells.wav", "--into", "results"),
}


class Terminal(io.StringIO):
    """Somebody watches."""

    def isatty(self) -> bool:
        return True


def watched(monkeypatch: pytest.MonkeyPatch) -> Terminal:
    """Called in a test itself: before each, errors are captured anew."""
    made = Terminal()
    monkeypatch.setattr(sys, "stderr", made)
    monkeypatch.setattr(progress, "PATIENCE", 0.01)
    monkeypatch.setattr(progress, "EVERY", 0.01)
    return made


def wait_for(words: str, terminal: io.StringIO) -> None:
    """Long work; it takes until it was told of, and ten seconds at most."""
    until = time.monotonic() + 10.0
    while words not in terminal.getvalue() and time.monotonic() < until:
        time.sleep(0.001)


@pytest.mark.parametrize("command", COMMANDS)
def test_a_coil_that_takes_long_is_named(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch, command: str
) -> None:
    terminal = watched(monkeypatch)
    added = lays.added_by_conductor

    def slow(*arguments: Any) -> Any:
        wait_for("working out the lay of run pond: ", terminal)
        return added(*arguments)

    monkeypatch.setattr(lays, "added_by_conductor", slow)
    length = 20.0 + 0.01 * list(COMMANDS).index(command)  # not worked out before
    bench.rig.write_text(COILED.format(length=length), encoding="utf-8")
    assert tell(command, "sluice.toml", *COMMANDS[command]).returncode == OK
    told = terminal.getvalue()
    assert "working out the lay of run pond: 20" in told
    assert told.endswith("\r\033[K")
    assert "\n" not in told


def test_nothing_is_told_where_nobody_watches(
    bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(progress, "PATIENCE", 0.0)
    monkeypatch.setattr(progress, "EVERY", 0.0)
    added = lays.added_by_conductor

    def slow(*arguments: Any) -> Any:
        time.sleep(0.1)
        return added(*arguments)

    monkeypatch.setattr(lays, "added_by_conductor", slow)
    bench.rig.write_text(COILED.format(length=21.0), encoding="utf-8")
    done = tell("figures", "sluice.toml")
    assert (done.returncode, done.stderr) == (OK, "")


def test_quick_work_is_not_named(bench: Bench, tell: Tell, monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = watched(monkeypatch)
    monkeypatch.setattr(progress, "PATIENCE", 3600.0)
    assert tell("figures", "sluice.toml").returncode == OK
    assert terminal.getvalue() == ""


def test_the_inner_work_is_named_then_the_outer_again(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = watched(monkeypatch)
    line = progress.WorkLine()
    with work.told_to(line), work.working_out("a\nb" + "o" * 200):
        with work.working_out("inner"):
            wait_for("working out inner ...", terminal)
        wait_for("ooo", terminal)
    _, inner, outer, nothing = terminal.getvalue().split("\r\033[K")
    assert inner == "working out inner ..."
    assert outer.startswith("working out a\\nbooo")
    assert len(outer) < 80
    assert nothing == ""


def test_the_last_of_it_is_wiped_after_a_fault(monkeypatch: pytest.MonkeyPatch) -> None:
    terminal = watched(monkeypatch)

    def stopped() -> None:
        with work.told_to(progress.WorkLine()), work.working_out("a coil"):
            wait_for("a coil", terminal)
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert terminal.getvalue().endswith("\r\033[K")
