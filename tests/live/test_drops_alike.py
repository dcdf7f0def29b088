"""Drops 20 dB apart on the demo programme: what is heard of them, by another meter."""

import sys
from dataclasses import replace

import numpy as np
import pyloudnorm
import pytest
import soundfile as sf

from auralize.audio.loudness import LoudnessMeter
from auralize.gains import INSTALLED, LOUDNESS, MOST_MAKEUP, SOURCE, End, Match
from auralize.live.engine import Engine
from auralize.renderer.files import render
from auralize.renderer.options import RenderOptions
from support.evening import evening
from support.live_device import FakeSounddevice
from support.live_session import stretched
from support.pumped import BLOCK, RATE, settled, until

SHARES = {"far": 1.0, "near": 0.085, "next": 0.02}
"""Of the demo's 62 m: drops about 20 and 32 dB apart. The last is so soft that much of it is under the
absolute gate of ITU-R BS.1770, until it is made up."""


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    path = tmp_path_factory.mktemp("demo") / "evening.wav"
    samples = evening(RATE)[: 12 * RATE]
    sf.write(path, 0.5 * samples, RATE, "FLOAT")
    return path


@pytest.fixture(scope="module")
def choices(saltmarsh):
    reel = saltmarsh["reel"]
    return [replace(stretched(reel, share), name=name) for name, share in SHARES.items()]


@pytest.fixture(scope="module")
def engine(demo, choices, tmp_path_factory):
    """The engine itself, on a device whose blocks the test asks for."""
    sounddevice = FakeSounddevice("mill")
    before = sys.modules.get("sounddevice")
    sys.modules["sounddevice"] = sounddevice
    engine = Engine(demo, choices, volumes=tmp_path_factory.mktemp("volumes") / "v.json")
    try:
        engine.start()
        until(lambda: engine.status().state == "running")
        until(lambda: engine.status().certainty == "measured", 60.0)
        engine.set_volume(0.0)
        sounddevice.stream.ask(60)
        engine.stream = sounddevice.stream
        yield engine
    finally:
        engine.stop()
        sys.modules.pop("sounddevice")
        if before is not None:
            sys.modules["sounddevice"] = before


def recorded(engine, heard):
    """All of the programme as this is heard."""
    transport = engine._listening.transport
    engine.pause()
    engine.stream.ask(3)
    before = engine.status().switches
    engine.hear(heard)
    while engine.status().switches == before:
        engine.stream.ask()
        settled(transport)
    while engine.status().rising:  # it waits for the sound
        engine.play()
        settled(transport)
        engine.stream.ask(20)
    engine.pause()
    engine.stream.ask(3)
    engine.seek(0.0)
    settled(transport)
    engine.play()
    settled(transport)
    blocks = []
    for _ in range(transport.length // BLOCK + 2):
        until(lambda: transport._current.blocks or transport._current.complete)
        blocks.append(engine.stream.ask())
    return np.concatenate(blocks).astype(float)


def loudness(samples):
    """By pyloudnorm 0.2, another meter of ITU-R BS.1770."""
    return pyloudnorm.Meter(RATE).integrated_loudness(samples)


@pytest.mark.parametrize("match", [INSTALLED, LOUDNESS, Match.at(1000.0)])
def test_drops_20_db_apart_are_heard_equally_loud(engine, match):
    engine.set_match(match)
    engine.set_drops("equal")
    found = {name: loudness(recorded(engine, End("drop", name))) for name in SHARES}
    assert max(found.values()) - min(found.values()) < 0.1
    for name in SHARES:
        engine.hear(End("drop", name))
        gains = engine.status().gains
        assert gains.makeup <= MOST_MAKEUP
        assert engine.steps([End("drop", other) for other in SHARES]) == pytest.approx(
            [0.0, 0.0, 0.0], abs=1e-9
        )


def test_the_step_that_is_told_is_that_of_the_rendered_files(engine, demo, choices, tmp_path):
    engine.set_drops("one")
    engine.set_makeup(20.0)
    engine.set_match(INSTALLED)
    options = RenderOptions(makeup=20.0, signals=("receiving", "drop"), source=True, depth="FLOAT")
    done = render(demo, choices, tmp_path, options)
    read = {}
    for output in done.outputs:
        samples, _ = sf.read(output.path)
        heard = End(output.signal, output.choice) if output.choice else SOURCE
        read[heard] = loudness(samples)
        # And what a file says of itself is what is in it.
        assert output.loudness == pytest.approx(read[heard], abs=0.1)
    for now in read:
        engine.hear(now)
        told = engine.steps(list(read))
        assert told == pytest.approx([read[one] - read[now] for one in read], abs=0.1)
    engine.set_makeup(None)


def test_the_gate_of_a_drop_is_that_of_what_is_heard_of_it():
    """Loud and then soft: before 40 dB of gain the soft half lies under -70 LUFS, after it it does not."""
    t = np.arange(20 * RATE) / RATE
    tone = np.sin(2 * np.pi * 997 * t)[:, None]
    tone *= 10 ** (np.where(t < 10, -64.0, -71.0) / 20)[:, None]
    meter = LoudnessMeter(RATE, 1)
    meter.add(tone)
    after = loudness(tone * 100.0)
    assert meter.integrated_before(40.0) + 40.0 == pytest.approx(
        after, abs=0.05
    )  # its filters differ by that
    assert meter.integrated - meter.integrated_before(40.0) > 1.5
    assert meter.integrated == pytest.approx(loudness(tone), abs=0.05)
