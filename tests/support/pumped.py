"""A listening whose blocks are made by the test, and the sound it is given."""

import time

import numpy as np
import soundfile as sf

from auralize.live.listening import Listening
from auralize.live.sources import feed_of
from auralize.live.wanted import Wanted

RATE = 48_000
BLOCK = 512


def until(done, seconds=20.0):
    """Wait for another thread; a test that would hang fails here."""
    for _ in range(round(seconds / 0.002)):
        if done():
            return
        time.sleep(0.002)
    raise TimeoutError


def write(path, samples, rate=RATE):
    sf.write(path, samples, rate, subtype="DOUBLE")
    return path


def noise(frames, channels=2, seed=0):
    return np.random.default_rng(seed).normal(0.0, 0.1, (frames, channels))


def settled(transport):
    """Wait until the reader has done all that was wished."""
    time.sleep(0.1)
    until(lambda: transport.primed)


class Pumped:
    """A listening whose blocks are made by the test."""

    def __init__(self, source, choices, rate=RATE, journal=False):
        self.events = []
        self.listening = Listening(
            feed_of(source),
            rate,
            Wanted(dict(choices)),
            self.events.append,
            journal=[] if journal else None,
        )
        self.outputs = []

    def pump(self, blocks):
        """So many blocks, as fast as the disk allows."""
        for _ in range(blocks):
            until(self._may_go_on)
            out = np.zeros((self.listening.player.block, self.listening.channels), np.float32)
            self.listening.render(out)
            self.outputs.append(out)
        return np.concatenate(self.outputs[-blocks:])

    def _may_go_on(self):
        transport = self.listening.transport
        current = transport._current
        return current.blocks or current.complete or not transport.playing

    def pump_until(self, done):
        """Blocks until something is so."""
        for _ in range(4000):
            if done():
                return
            self.pump(1)
            time.sleep(0.002)
        raise TimeoutError

    def hear(self, heard):
        """Switch, and wait until it is done."""
        before = self.listening.player.switches
        self.listening.hear(heard)
        self.pump_until(lambda: self.listening.player.switches > before)

    def measured(self):
        until(lambda: self.listening.status().certainty == "measured")

    def close(self):
        self.listening.close()
