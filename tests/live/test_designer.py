"""The thread that designs edits: what it says while it works, and what it survives."""

import threading
from dataclasses import replace

import pytest

from auralize.live import designer
from auralize.live.designer import Designer, designed
from support.pumped import RATE, until


@pytest.fixture
def told():
    return []


@pytest.fixture
def made(told):
    made = Designer(
        RATE,
        lambda choice, filters: told.append((choice.name, filters)),
        lambda choice, error: told.append((choice.name, str(error))),
    )
    yield made
    made.close()
    made.join()


def test_it_is_busy_from_the_wish_until_it_has_told(made, told, saltmarsh, monkeypatch):
    begun, release = threading.Event(), threading.Event()

    def slow(choice, rate):
        begun.set()
        assert release.wait(20.0)
        return "filters"

    monkeypatch.setattr(designer, "designed", slow)
    assert not made.busy
    made.want(saltmarsh["reel"])
    assert begun.wait(20.0)
    assert made._waiting == {}
    assert made.busy
    made.want(saltmarsh["bought"])
    made.want(saltmarsh["beams"])
    made.want(replace(saltmarsh["bought"], label="the last one counts"))
    assert told == []
    release.set()
    until(lambda: not made.busy)
    assert [name for name, _ in told] == ["reel", "bought", "beams"]


def test_what_fails_is_told_and_the_next_is_designed(made, told, saltmarsh):
    made.want(replace(saltmarsh["reel"], listen="nowhere"))
    made.want(saltmarsh["bought"])
    until(lambda: len(told) == 2)
    assert told[0][0] == "reel"
    assert isinstance(told[0][1], str)
    expected = designed(saltmarsh["bought"], RATE)
    assert (told[1][1].drop.taps == expected.drop.taps).all()


def test_what_waits_when_it_ends_is_not_lost(made, saltmarsh):
    made.close()
    made.join()
    made.want(saltmarsh["reel"])
    assert made.join() == {"reel": saltmarsh["reel"]}
    assert made.busy
