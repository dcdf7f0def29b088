"""The convolver against direct convolution (numpy.convolve), and its output against its own cuts."""

import subprocess
import sys
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy import fft

from auralize.audio.convolver import (
    LARGEST_OFFLINE_HOP,
    SMALLEST_OFFLINE_HOP,
    Convolver,
    fast_length,
    offline_hop,
)

Array = NDArray[np.float64]

RELATIVE_ERROR = 1e-12
"""Of the output's peak. Double precision has 1.1e-16; transforms of 2**14 points add a few bits."""

BLOCK_SIZES = [1, 64, 65, 128, 8192, 8193]


def noise(*shape: int, seed: int = 1) -> Array:
    return np.random.default_rng(seed).standard_normal(shape)


def impulses(filters: int, taps: int, seed: int = 2) -> Array:
    """Decaying, as those of a cable run are, to -60 dB at the end."""
    return noise(filters, taps, seed=seed) * np.geomspace(1.0, 1e-3, taps)


def direct(signal: Array, responses: Array, extra: int = 0) -> Array:
    """(filters, n + extra, channels) by numpy.convolve."""
    padded = np.concatenate([signal, np.zeros((extra, signal.shape[1]))])
    return np.stack(
        [
            np.stack([np.convolve(lane, response)[: len(lane)] for lane in padded.T], axis=1)
            for response in responses
        ]
    )


def run(convolver: Convolver, signal: Array, cuts: list[int], extra: int = 0) -> Array:
    """The whole output for a signal that arrives in blocks of the sizes `cuts`, over and over."""
    parts, at, turn = [], 0, 0
    while at < len(signal):
        size = cuts[turn % len(cuts)]
        parts.append(convolver.process(signal[at : at + size]))
        at, turn = at + size, turn + 1
    parts.append(convolver.flush(extra))
    return np.concatenate(parts, axis=1)


def assert_close(found: Array, expected: Array) -> None:
    assert found.shape == expected.shape
    assert np.abs(found - expected).max() <= RELATIVE_ERROR * np.abs(expected).max()


@pytest.mark.parametrize(
    ("taps", "hop"),
    [
        (1, 1),
        (5, 1),
        (1, 64),
        (63, 64),
        (64, 64),
        (65, 64),
        (128, 64),
        (129, 64),
        (1000, 64),
        (300, 97),
        (512, 1536),
        (4096, 512),
    ],
)
def test_equals_direct_convolution(taps: int, hop: int) -> None:
    signal, responses = noise(3 * max(taps, hop) + 7, 2), impulses(2, taps)
    assert_close(run(Convolver(responses, 2, hop), signal, [777]), direct(signal, responses))


@pytest.mark.parametrize("channels", range(1, 9))
def test_every_channel_count(channels: int) -> None:
    signal, responses = noise(700, channels), impulses(3, 150)
    found = run(Convolver(responses, channels, 64), signal, [100], extra=149)
    assert_close(found, direct(signal, responses, extra=149))


@pytest.mark.parametrize(("taps", "hop"), [(4096, 512), (300, 1000), (777, 97)])
@pytest.mark.parametrize("channels", [2, 3])
def test_output_is_identical_whatever_the_block_size(taps: int, hop: int, channels: int) -> None:
    signal, responses = noise(20_000, channels), impulses(3, taps)
    whole = run(Convolver(responses, channels, hop), signal, [len(signal)], extra=taps)
    for size in BLOCK_SIZES:
        found = run(Convolver(responses, channels, hop), signal, [size], extra=taps)
        assert np.array_equal(found, whole), size


@pytest.mark.parametrize("hop", [65, 500, 509, 511, 2304, 8192])
def test_batches_have_the_bits_of_single_hops_at_any_transform_length(hop: int) -> None:
    """pocketfft may take several transforms at once; that must not show in the last bit."""
    signal, responses = noise(9 * hop, 2), impulses(2, hop)
    batched = Convolver(responses, 2, hop).process(signal)
    single = Convolver(responses, 2, hop)
    hops = [single.process(signal[at : at + hop]) for at in range(0, len(signal), hop)]
    assert np.array_equal(np.concatenate(hops, axis=1), batched)


def test_workers_do_not_change_the_bits() -> None:
    signal, responses = noise(50_000, 2), impulses(2, 1000)
    alone = run(Convolver(responses, 2, 1024), signal, [50_000])
    assert np.array_equal(run(Convolver(responses, 2, 1024, workers=2), signal, [50_000]), alone)


@given(
    cuts=st.lists(st.integers(0, 400), min_size=1, max_size=12).filter(any),
    hop=st.integers(1, 130),
    taps=st.integers(1, 300),
    channels=st.integers(1, 4),
    extra=st.integers(0, 400),
)
@settings(max_examples=60, deadline=None, derandomize=True)
def test_any_cutting_gives_the_same_bits_and_the_right_values(
    cuts: list[int], hop: int, taps: int, channels: int, extra: int
) -> None:
    signal, responses = noise(600, channels), impulses(2, taps)
    whole = run(Convolver(responses, channels, hop), signal, [600], extra)
    assert np.array_equal(run(Convolver(responses, channels, hop), signal, cuts, extra), whole)
    assert_close(whole, direct(signal, responses, extra))


def test_a_block_of_one_hop_gives_one_hop_with_no_delay() -> None:
    convolver = Convolver(np.array([[1.0, 0.5]]), 2, 512)
    for turn in range(40):
        block = noise(512, 2, seed=turn)
        out = convolver.process(block)
        assert out.shape == (1, 512, 2)
        np.testing.assert_allclose(out[0, 1:], block[1:] + 0.5 * block[:-1], rtol=0, atol=1e-14)
        assert convolver.held == 0


def test_frames_held_back_never_exceed_the_stated_latency() -> None:
    convolver = Convolver(impulses(1, 40), 1, 32)
    taken = given_back = 0
    for size in [0, 1, 30, 1, 33, 95, 0, 64]:
        given_back += convolver.process(np.zeros((size, 1))).shape[1]
        taken += size
        assert taken - given_back == convolver.held <= convolver.latency == 31


def test_an_empty_block_gives_an_empty_block() -> None:
    assert Convolver(impulses(3, 10), 5, 16).process(np.zeros((0, 5))).shape == (3, 0, 5)


def test_flush_completes_the_programme_and_starts_anew() -> None:
    signal, responses = noise(1000, 2), impulses(2, 200)
    convolver = Convolver(responses, 2, 64)
    first = run(convolver, signal, [333])
    assert first.shape[1] == len(signal)
    assert np.array_equal(run(convolver, signal, [1000]), first)


def test_flush_gives_the_decay_and_then_silence() -> None:
    signal, responses = noise(100, 1), impulses(1, 50)
    found = run(Convolver(responses, 1, 64), signal, [100], extra=120)
    assert_close(found, direct(signal, responses, extra=120))
    assert np.abs(found[0, 100 + 49 :]).max() <= RELATIVE_ERROR * np.abs(found).max()


def test_reset_forgets_the_input() -> None:
    signal, responses = noise(1000, 3), impulses(2, 300)
    convolver = Convolver(responses, 3, 64)
    fresh = run(Convolver(responses, 3, 64), signal, [1000])
    convolver.process(noise(50_000, 3, seed=9))  # round the ring of spectra, more than once
    convolver.reset()
    assert np.array_equal(run(convolver, signal, [1000]), fresh)


@pytest.mark.parametrize("taps", [10, 300, 500])
def test_replaced_filters_are_warm_at_once(taps: int) -> None:
    """From the next hop on, as if the new filters had been there from the beginning."""
    signal, before, after = noise(1280, 2), impulses(2, 300), impulses(2, taps, seed=5)
    convolver = Convolver(before, 2, 64, max_taps=500)
    first = convolver.process(signal[:640])
    convolver.replace(after)
    second = convolver.process(signal[640:])
    assert_close(first, direct(signal, before)[:, :640])
    assert_close(second, direct(signal, after)[:, 640:])


def test_replacing_in_one_partition_keeps_the_history() -> None:
    signal, before, after = noise(1536, 1), impulses(1, 64), impulses(1, 200, seed=5)
    convolver = Convolver(before, 1, 256, max_taps=200)
    convolver.process(signal[:768])
    convolver.replace(after)
    assert_close(convolver.process(signal[768:]), direct(signal, after)[:, 768:])


@pytest.mark.parametrize(("taps", "hop"), [(300, 64), (64, 256), (1, 1)])
def test_the_longest_filters_promised_are_taken(taps: int, hop: int) -> None:
    convolver = Convolver(impulses(1, taps), 1, hop)
    assert convolver.max_taps >= taps
    longest, signal = impulses(1, convolver.max_taps), noise(4 * hop, 1)
    convolver.replace(longest)
    assert_close(convolver.process(signal), direct(signal, longest))
    with pytest.raises(ValueError, match=f"{convolver.max_taps + 1} taps"):
        convolver.replace(impulses(1, convolver.max_taps + 1))


def test_replacing_by_another_number_of_filters_is_refused() -> None:
    with pytest.raises(ValueError, match="3 impulse responses"):
        Convolver(impulses(2, 8), 1, 8).replace(impulses(3, 8))


def test_memory_does_not_grow_with_the_programme() -> None:
    convolver, block = Convolver(impulses(2, 300), 2, 64), noise(100, 2)
    tracemalloc.start()
    try:
        for _ in range(50):
            convolver.process(block)
        early = tracemalloc.get_traced_memory()[0]
        for _ in range(1000):
            convolver.process(block)
        growth = tracemalloc.get_traced_memory()[0] - early
    finally:
        tracemalloc.stop()
    assert growth < 10 * block.nbytes  # of 1000 blocks taken


def test_the_block_given_is_left_alone_and_the_output_is_the_callers() -> None:
    convolver = Convolver(impulses(1, 20), 2, 64)
    block = noise(64, 2)
    kept = block.copy()
    first = convolver.process(block)
    first_kept = first.copy()
    convolver.process(block)
    assert np.array_equal(block, kept)
    assert np.array_equal(first, first_kept)


def test_a_strided_block_is_as_good_as_any() -> None:
    signal, responses = noise(512, 6), impulses(1, 30)
    found = Convolver(responses, 2, 64).process(signal[:, ::3])
    assert np.array_equal(found, Convolver(responses, 2, 64).process(signal[:, ::3].copy()))


@pytest.mark.parametrize(
    ("shape", "channels", "hop", "workers", "message"),
    [
        ((0, 5), 1, 8, 1, "at least one of each"),
        ((1, 0), 1, 8, 1, "at least one of each"),
        ((5,), 1, 8, 1, "filters, taps"),
        ((1, 5), 0, 8, 1, "channels=0"),
        ((1, 5), 1, 0, 1, "hop=0"),
        ((1, 5), 1, 8, 0, "workers=0"),
    ],
)
def test_what_cannot_be_is_refused(
    shape: tuple[int, ...], channels: int, hop: int, workers: int, message: str
) -> None:
    with pytest.raises(ValueError, match=message):
        Convolver(np.ones(shape), channels, hop, workers)


def test_impulse_responses_must_be_finite() -> None:
    with pytest.raises(ValueError, match="not finite"):
        Convolver(np.array([[1.0, np.nan]]), 1, 8)


@pytest.mark.parametrize("shape", [(10,), (10, 3), (2, 10, 2)])
def test_a_block_of_another_shape_is_refused(shape: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match=r"\(frames, 2\) is right"):
        Convolver(np.ones((1, 4)), 2, 8).process(np.zeros(shape))


def test_negative_decay_is_refused() -> None:
    with pytest.raises(ValueError, match="-1 frames"):
        Convolver(np.ones((1, 4)), 2, 8).flush(-1)


@pytest.mark.parametrize("taps", [1, 100, 4096, 5000, 16384, 100_000])
def test_the_offline_hop_stays_in_its_bounds_and_grows_with_the_taps(taps: int) -> None:
    hop = offline_hop(taps)
    assert SMALLEST_OFFLINE_HOP <= hop <= LARGEST_OFFLINE_HOP
    assert hop >= min(taps, LARGEST_OFFLINE_HOP)
    assert hop <= offline_hop(2 * taps)


def test_importing_it_loads_no_scipy() -> None:
    """scipy.fft takes 0.1 s, which --help must not pay."""
    code = "import sys, auralize.audio.convolver; print([m for m in sys.modules if m.startswith('scipy')])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("amplitude", [5e-324, 1e-310, 1e-300, -1e-200])
def test_what_fades_into_denormal_numbers_is_silence(amplitude: float) -> None:
    """They are worked with many times as slowly; none may get into the state, or stay there."""
    impulses = np.random.default_rng(1).normal(0.0, 0.01, (2, 2000))
    convolver = Convolver(impulses, 2, 512)
    convolver.process(np.ones((512, 2)))
    for _ in range(6):
        last = convolver.process(np.full((512, 2), amplitude))
    assert not last.any()
    assert not convolver._spectra[convolver._next_slot - 4 : convolver._next_slot].any()
    assert not convolver._window[:, : convolver._overlap].any()


@pytest.mark.parametrize("amplitude", [1e-150, 1e-38, 1e-7, 1.0, 1e15])
def test_what_is_no_denormal_number_goes_through_to_the_bit(amplitude: float) -> None:
    """Held against the same transform, done by hand, of samples that nothing was added to."""
    samples = amplitude * np.random.default_rng(2).normal(0.0, 1.0, (64, 2))
    convolver = Convolver(np.ones((1, 1)), 2, 64)
    pair = samples[:, 0] + 1j * samples[:, 1]
    expected = fft.ifft(fft.fft(pair) * fft.fft(np.ones(1), n=64))
    assert np.array_equal(convolver.process(samples)[0], np.c_[expected.real, expected.imag])


def test_fast_lengths_are_scipys() -> None:
    lengths = [*range(1, 400), 4607, 8703, 12_289, 65_537, 100_003]
    assert [fast_length(n) for n in lengths] == [fft.next_fast_len(n) for n in lengths]
