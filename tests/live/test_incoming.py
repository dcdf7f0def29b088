"""The transport of a live input, without a device: what comes in, what goes out, and what is refused."""

from types import SimpleNamespace

import numpy as np
import pytest

from auralize.errors import AuralizeError
from auralize.live import guard, incoming
from auralize.live.drift import HALF
from auralize.live.guard import HOWLED, QUESTION, Guard
from auralize.live.incoming import MOST_CUSHION, SLOW_RISE, Incoming
from auralize.live.input_feed import InputFeed
from auralize.live.ring import Ring
from support.pumped import BLOCK, RATE, noise

RISE = round(SLOW_RISE * RATE / BLOCK) + 1


class Line:
    """An input whose blocks the test gives, by a clock of its own."""

    def __init__(self, monkeypatch, one_clock=True):
        self.told, self.now = [], 50.0
        monkeypatch.setattr(
            incoming,
            "time",
            SimpleNamespace(perf_counter=lambda: self.now, monotonic=lambda: self.now),
        )
        self.guard = Guard()
        self.transport = Incoming(self.guard, RATE, self.told.append)
        self.transport.begin(one_clock, apart=not one_clock)

    def let_through(self):
        self.transport.play()
        self.transport.play()

    def through(self, samples):
        """Block by block, in and out in one callback; a copy."""
        out = []
        for start in range(0, len(samples), BLOCK):
            self.transport.put(samples[start : start + BLOCK].astype(np.float32))
            out.append(self.transport.take().samples.copy())
        return np.concatenate(out)


@pytest.fixture
def line(monkeypatch):
    return Line(monkeypatch)


def test_nothing_sounds_before_the_question_was_answered(line):
    loud = np.ones((4 * BLOCK, 2))
    assert not line.through(loud).any()
    line.transport.play()
    assert line.told == [QUESTION]
    assert not line.transport.playing
    assert not line.through(loud).any()
    line.transport.play()
    assert line.transport.playing
    assert line.through(loud).any()
    assert line.told == [QUESTION]


def test_it_comes_up_slowly_and_then_every_sample_goes_through_as_it_is(line):
    line.let_through()
    up = line.through(np.ones((RISE * BLOCK, 2)))
    assert np.all(np.diff(up[:, 0]) >= 0.0)
    assert np.diff(up[:, 0]).max() < 1.01 / (SLOW_RISE * RATE)
    samples = noise(40 * BLOCK).astype(np.float32)
    assert np.array_equal(line.through(samples), samples)


def test_pause_mutes_within_a_block_and_play_brings_it_back_within_one(line):
    line.let_through()
    line.through(np.ones((RISE * BLOCK, 2)))
    line.transport.pause()
    assert not line.transport.playing
    down = line.through(np.ones((2 * BLOCK, 2)))[:, 0]
    assert np.all(np.diff(down) <= 0.0)
    assert down[BLOCK - 1] == 0.0
    assert not down[BLOCK:].any()
    line.transport.play()
    up = line.through(np.ones((2 * BLOCK, 2)))
    assert np.all(up[BLOCK:] == 1.0)
    assert line.told == [QUESTION]  # and is not asked again


def test_the_position_counts_up_whether_it_sounds_or_not(line):
    line.through(noise(7 * BLOCK))
    assert line.transport.position == 7 * BLOCK
    line.let_through()
    line.through(noise(3 * BLOCK))
    assert line.transport.position == 10 * BLOCK


def test_one_channel_goes_to_both(line):
    line.let_through()
    line.through(np.ones((RISE * BLOCK, 1)))
    assert np.all(line.through(np.full((BLOCK, 1), 0.25)) == 0.25)


def test_what_cannot_be_is_said(line):
    line.transport.seek(RATE)
    assert line.told == ["A live input has no other place to go to: it is heard as it comes"]
    assert line.transport.position == 0
    with pytest.raises(AuralizeError, match="cannot be looped: what came in is not kept"):
        line.transport.loop(0, RATE)
    feed = InputFeed("desk")
    for refused in (feed.fingerprint, lambda: feed.opened(RATE)):
        with pytest.raises(AuralizeError, match="a live input is never the same twice"):
            refused()


def test_an_input_that_stops_is_silence_and_comes_up_slowly_again(line):
    line.let_through()
    line.through(np.ones((RISE * BLOCK, 2)))
    assert not line.transport.take().samples.any()
    assert line.transport.starved == 1
    line.transport.rise_slowly()
    up = line.through(np.ones((2 * BLOCK, 2)))
    assert 0.0 < up.max() < 0.02


# --- two clocks -----------------------------------------------------------------------------------


def apart(monkeypatch, ppm, seconds, jitter=0.003, stop=None):
    """An input ``ppm`` faster than the output, callbacks late at random; what came out, and the line."""
    line = Line(monkeypatch, one_clock=False)
    line.let_through()
    random = np.random.default_rng(1)
    speed, tone = 1.0 + 1e-6 * ppm, 2.0 * np.pi * 997.0 / RATE
    out, put = [], 0
    late = random.uniform(0.0, jitter, (2, round(seconds * RATE / BLOCK) + 64))
    for n in range(round(seconds * RATE / BLOCK)):
        time = 50.0 + n * BLOCK / RATE + late[0, n]
        while (at := 50.0 + (put + 1) * BLOCK / RATE / speed + late[1, put]) <= time:
            if stop is None or not stop[0] < at - 50.0 < stop[1]:
                line.now = at
                tone_of = 0.1 * np.sin(tone * np.arange(put * BLOCK, (put + 1) * BLOCK))
                line.transport.put(np.stack([tone_of, tone_of], axis=1).astype(np.float32))
            put += 1
        line.now = max(time, line.now)
        out.append(line.transport.take().samples.copy())
    return np.concatenate(out)[:, 0], line


def test_with_two_clocks_nothing_is_lost_and_a_tone_stays_a_tone(monkeypatch):
    """A minute at 100 ppm; its last second, by least squares at the pitch found."""
    played, line = apart(monkeypatch, 100.0, 60.0)
    assert line.transport.starved == 0
    last = played[-RATE:]
    frames = np.arange(RATE)

    def left(frequency):
        angle = 2.0 * np.pi * frequency / RATE * frames
        sines = np.stack([np.cos(angle), np.sin(angle)], axis=1)
        fit = sines @ np.linalg.lstsq(sines, last, rcond=None)[0]
        return np.mean((last - fit) ** 2) / np.mean(fit**2)

    pitches = 997.0 * (1.0 + 1e-6 * np.arange(-200.0, 201.0, 5.0))
    errors = [left(pitch) for pitch in pitches]
    # What is left is the phase of a pitch that moves by some ppm within that second: 1 ppm/s bends it by
    # 2 mrad (-54 dB) in all. A frame lost or doubled once would be a step of 130 mrad (-20 dB).
    assert 10.0 * np.log10(min(errors)) < -45.0
    assert abs(pitches[np.argmin(errors)] / 997.0 - 1.0) < 200e-6


def test_with_two_clocks_the_latency_is_what_is_said(monkeypatch):
    line = Line(monkeypatch, one_clock=False)
    line.let_through()
    pulse, heard = 400, []
    for n in range(600):
        line.now += BLOCK / RATE
        block = np.zeros((BLOCK, 2), np.float32)
        if n == pulse:
            block[0] = 1.0
        line.transport.put(block)
        heard.append(line.transport.take().samples.copy())
    at = int(np.argmax(np.abs(np.concatenate(heard)[:, 0])))
    late = (
        at - (pulse - 1) * BLOCK
    ) / RATE  # the block was full a block after its first frame came
    assert late - BLOCK / RATE == pytest.approx(line.transport.held, abs=BLOCK / RATE)


def test_an_input_that_is_away_for_a_while_is_one_gap_and_comes_back(monkeypatch):
    played, line = apart(monkeypatch, 0.0, 12.0, stop=(5.0, 7.0))
    assert line.transport.starved == 1
    away = played[round(5.5 * RATE) : round(6.9 * RATE)]
    assert not away.any()
    assert np.abs(played[-RATE:]).max() == pytest.approx(0.1, rel=1e-3)


def test_after_many_gaps_it_still_comes_back_and_is_held_no_longer_than_is_said(monkeypatch):
    line = Line(monkeypatch, one_clock=False)
    line.let_through()
    for gaps in range(8):
        for _ in range(RATE // BLOCK):
            line.now += BLOCK / RATE
            line.transport.put(np.ones((BLOCK, 2), np.float32))
            heard = line.transport.take().samples.copy()
        assert heard.any()
        while line.transport.starved == gaps:
            line.now += BLOCK / RATE
            line.transport.take()
    assert line.transport.held == pytest.approx(MOST_CUSHION + (2 * BLOCK + HALF) / RATE)


# --- feedback -------------------------------------------------------------------------------------


def levels(limiting, crest):
    return SimpleNamespace(limiting=limiting, peak=0.89, power=(0.89 / 10 ** (crest / 20)) ** 2)


@pytest.mark.parametrize(
    ("limiting", "crest", "muted"), [(True, 3.0, True), (True, 10.0, False), (False, 3.0, False)]
)
def test_a_steady_tone_at_the_limiter_mutes_and_asks_again(line, limiting, crest, muted):
    line.let_through()
    for _ in range(30):
        line.now += 0.1
        line.transport.look(levels(limiting, crest))
        if HOWLED in line.told:
            break
    assert line.transport.playing is not muted
    assert (HOWLED in line.told) is muted
    if muted:
        line.transport.play()
        assert line.told[-1] == QUESTION
        line.transport.play()
        line.transport.look(levels(limiting, crest))  # told by another two seconds
        assert line.transport.playing


def test_what_does_not_sound_does_not_howl(line):
    """The limiter of a programme, or while it lets go, is nothing that an input can be blamed for."""
    for _ in range(30):
        line.now += 0.1
        line.transport.look(levels(True, 3.0))
    assert line.told == []


def test_a_loud_moment_does_not_mute(line):
    line.let_through()
    for n in range(60):
        line.now += 0.1
        line.transport.look(levels(n % 10 < 9, 3.0))
    assert line.transport.playing


def test_a_sine_is_under_the_crest_of_a_howl_and_noise_above():
    """Crest factor of a sine: 20 log10(sqrt 2) = 3.01 dB; of Gaussian noise 10 dB and more."""
    sine = np.sin(np.arange(8192))
    for signal, is_tone in ((sine, True), (noise(8192)[:, 0], False)):
        crest = 20.0 * np.log10(np.abs(signal).max() / np.sqrt(np.mean(signal**2)))
        assert bool(crest < guard.TONE_CREST) is is_tone


# --- the ring -------------------------------------------------------------------------------------


def test_a_ring_gives_back_what_was_put_and_loses_whole_blocks_only():
    ring, samples = Ring(1000, 2, RATE), noise(64_000)
    given = taken = 0
    out = []
    random = np.random.default_rng(4)
    while given < len(samples):
        count = int(random.integers(1, 400))
        before = ring.lost
        ring.put(samples[given : given + count], 0.0)
        if ring.lost == before:
            given += min(count, len(samples) - given)
        if ring.filling > 300:
            out.append(ring.take(int(random.integers(1, 300))))
            taken += len(out[-1])
    assert np.array_equal(np.concatenate(out), samples[:taken])
    assert ring.lost > 0
