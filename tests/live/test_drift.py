"""Clocks that differ, without a device: the loop that follows them, and the resampler behind it."""

import numpy as np
import pytest

from auralize.live.drift import HALF, MOST_DRIFT, DriftLoop, Interpolator

RATE, BLOCK = 48_000, 512
CENT = 2.0 ** (1.0 / 1200.0) - 1.0


def resampled(interpolator, signal, ratio, blocks, block=BLOCK):
    """What comes out of a signal that is a function of the frame's number."""
    out, given = [], 0
    for _ in range(blocks):
        frames = np.arange(given, given + interpolator.needs)
        given += len(frames)
        out.append(interpolator.run(signal(frames), ratio))
    return np.concatenate(out)


def sinad(samples, frequency):
    """dB between a sine of this frequency (cycles a frame) and all else, by least squares."""
    angle = 2.0 * np.pi * frequency * np.arange(len(samples))
    sines = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    found = sines @ np.linalg.lstsq(sines, samples, rcond=None)[0]
    return 10.0 * np.log10(np.mean(found**2) / np.mean((samples - found) ** 2))


@pytest.mark.parametrize("ppm", [-500, -100, -1, 3, 100, 500])
@pytest.mark.parametrize("frequency", [100.0, 997.0, 10_000.0, 20_000.0, 21_600.0])
def test_a_resampled_sine_is_that_sine_at_the_other_pitch_and_nothing_else(ppm, frequency):
    ratio = 1.0 + 1e-6 * ppm
    out = resampled(
        Interpolator(BLOCK, 1),
        lambda n: np.sin(2.0 * np.pi * frequency / RATE * n)[:, None],
        ratio,
        80,
    )
    settled = out[2 * HALF :, 0]
    assert sinad(settled, frequency / RATE * ratio) > 120.0
    assert np.sqrt(2.0 * np.mean(settled**2)) == pytest.approx(1.0, rel=2e-3)


@pytest.mark.parametrize("block", [1024, 2048])
def test_longer_blocks_are_as_exact_as_is_said(block):
    ratio, frequency = 1.0 + MOST_DRIFT, 0.25 if block == 2048 else 0.45
    out = resampled(
        Interpolator(block, 1),
        lambda n: np.sin(2.0 * np.pi * frequency * n)[:, None],
        ratio,
        20,
        block,
    )
    assert sinad(out[2 * HALF :, 0], frequency * ratio) > 120.0


def test_where_the_clocks_agree_every_sample_goes_through_unchanged():
    noise = np.random.default_rng(3).normal(0.0, 0.1, (100 * BLOCK, 2))
    out = resampled(Interpolator(BLOCK, 2), lambda n: noise[n], 1.0, 60)
    assert np.abs(out[HALF:] - noise[: len(out) - HALF]).max() < 1e-15


def test_a_ratio_that_changes_leaves_no_step():
    """A slow ramp of the ratio: the second difference of a slow sine stays that of the sine."""
    interpolator, given, out = Interpolator(BLOCK, 1), 0, []
    step = 2.0 * np.pi * 50.0 / RATE
    for number in range(200):
        frames = np.arange(given, given + interpolator.needs)
        given += len(frames)
        out.append(interpolator.run(np.sin(step * frames)[:, None], 1.0 + 1e-6 * number))
    bend = np.diff(np.concatenate(out)[2 * HALF :, 0], 2)
    assert np.abs(bend).max() < step**2 * 1.001


class Simulated:
    """Two clocks with jitter, and what the loop makes of them; all in frames of the output's clock."""

    def __init__(self, ppm, jitter, seed=1, burst=1):
        self.loop = DriftLoop(RATE, BLOCK)
        self.speed, self.jitter, self.burst = 1.0 + 1e-6 * ppm, jitter, burst
        self.random = np.random.default_rng(seed)

    def run(self, seconds):
        """Ratio and true filling at each block of the output."""
        count = round(seconds * RATE / BLOCK)
        late_in = self.random.uniform(0.0, self.jitter * RATE, count + count // 100 + 9)
        late_out = self.random.uniform(0.0, self.jitter * RATE, count)
        per = BLOCK * self.burst
        taken, target = 0.0, 2.0 * BLOCK + 0.015 * RATE
        ratios, fillings = np.zeros(count), np.zeros(count)
        put = came = 0
        came_at = 0.0
        for n in range(count):
            now = n * BLOCK + late_out[n] + 3.0 * per
            while (at := (came + 1) * per / self.speed + late_in[came]) <= now:
                came, came_at = came + 1, max(at, came_at)
            put = came * per
            if n == 0:
                taken = put + (now - came_at) - target
            due = put - taken + min(now - came_at, 2.0 * per)
            ratios[n] = self.loop.step(due - target)
            taken += BLOCK * ratios[n]
            fillings[n] = put - taken
        return ratios, fillings


@pytest.mark.parametrize(("ppm", "seconds"), [(-100, 900.0), (100, 3600.0)])
def test_100_ppm_for_an_hour_with_callbacks_that_come_late(ppm, seconds):
    """At random up to 5 ms each: followed within 0.5 ppm, pitch held within 0.06 cent, nothing runs out."""
    ratios, fillings = Simulated(ppm, 0.005).run(seconds)
    settled = ratios[round(180.0 * RATE / BLOCK) :]
    assert np.mean(settled) == pytest.approx(1.0 + 1e-6 * ppm, abs=0.5e-6)
    assert np.abs(settled - (1.0 + 1e-6 * ppm)).max() < 0.06 * CENT
    assert np.abs(ratios - 1.0).max() < 160e-6
    assert fillings.min() > 0.0
    assert fillings.max() < 4.0 * BLOCK


def test_without_jitter_only_the_clocks_are_followed():
    ratios, fillings = Simulated(100, 0.0).run(600.0)
    settled = ratios[round(180.0 * RATE / BLOCK) :]
    assert np.abs(settled - 1.0001).max() < 0.5e-6
    assert np.ptp(fillings) < BLOCK + 0.0015 * RATE


def test_an_input_that_comes_in_bursts_is_followed_too():
    """Four blocks at a time, as sound servers give them."""
    ratios, _ = Simulated(40, 0.003, burst=4).run(900.0)
    settled = ratios[round(180.0 * RATE / BLOCK) :]
    assert np.mean(settled) == pytest.approx(1.00004, abs=1e-6)
    assert np.abs(settled - 1.00004).max() < 0.05 * CENT


def test_a_clock_that_is_too_far_off_is_held_at_the_limit():
    loop = DriftLoop(RATE, BLOCK)
    ratios = [loop.step(min(50.0 * n, 5000.0)) for n in range(60_000)]
    assert max(ratios) == 1.0 + MOST_DRIFT
    assert loop.drift == MOST_DRIFT
