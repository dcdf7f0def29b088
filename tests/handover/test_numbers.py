"""What the page reckons, in a browser: against the package, SciPy, hashlib, pyloudnorm and closed forms."""

import hashlib
import math
import random
import warnings
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyloudnorm
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from scipy import stats

from auralize.audio.bands import THIRD_OCTAVES
from auralize.audio.loudness import LoudnessMeter, k_weighting
from auralize.audio.metering import Level
from auralize.audio.true_peak import TruePeakMeter
from auralize.circuit.solution import ACROSS
from auralize.errors import RequestError
from auralize.gains import (
    CEILING,
    DROP_GATED_AFTER,
    SOURCE,
    End,
    Heard,
    balance,
    equally_loud,
    loudness_gain,
)
from auralize.trials.plan import order
from auralize.trials.statistics import GUESSING, Protocol, evaluate, least_correct, tail
from support.browsers import Chromium
from support.meters import fed, pink, uneven, white
from support.pages import base64_of, script_page, sent

PROTOCOLS: list[Protocol] = ["matched-to-sample", "triangle"]
NUMBERS = ["numbers.js"]


@pytest.fixture(scope="module")
def page(chromium: Chromium, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Chromium]:
    opened = chromium.open(script_page(tmp_path_factory.mktemp("numbers"), NUMBERS))
    yield opened
    assert opened.console == []


def told(value: Any) -> float:
    """A number as JSON brings it, which has no word for what is infinite."""
    return -math.inf if value is None else float(value)


# ---- loudness and true peak


SIGNALS = {
    "pink 44.1 kHz": (pink(4, 44_100), 44_100),
    "uneven 48 kHz": (uneven(6, 48_000), 48_000),
    "uneven 96 kHz": (uneven(3, 96_000), 96_000),
    "uneven 11.025 kHz": (uneven(6, 11_025), 11_025),  # 100 ms are no whole number of frames
    "white 8 kHz, one channel": (white(3, 8_000)[:, :1], 8_000),
    "one block to the frame": (pink(1, 48_000)[:19_200], 48_000),
    "shorter than a block": (pink(1, 48_000)[:9_000], 48_000),
    "three frames": (white(1, 48_000)[:3], 48_000),
    "under the gate": (1e-5 * white(1, 48_000), 48_000),
    "silence": (np.zeros((30_000, 2)), 48_000),
    "nothing": (np.zeros((0, 2)), 48_000),
}
"""What is measured, and its rate in Hz."""


@pytest.mark.parametrize("name", SIGNALS)
def test_levels_are_those_of_the_package(page: Chromium, name: str) -> None:
    signal, rate = SIGNALS[name]
    signal = signal.astype(np.float32).astype(np.float64)
    loudness = fed(LoudnessMeter(rate, signal.shape[1]), signal)
    peak = fed(TruePeakMeter(rate, signal.shape[1]), signal).peak
    found = page.run(
        """const channels = args[0].map(samples), [, rate, gate] = args;
        const whole = Numbers.level(channels, rate), later = await Numbers.measure(channels, rate, gate);
        return [whole.loudness, later.loudness, whole.peak, later.peak];""",
        sent(signal),
        rate,
        DROP_GATED_AFTER,
    )
    # Other orders of the same sums: 1e-12 of them. The same instants, found another way: 1e-4.
    expected = [loudness.integrated, loudness.integrated_before(DROP_GATED_AFTER)]
    assert [told(value) for value in found[:2]] == pytest.approx(expected, abs=1e-9)
    assert found[2:] == pytest.approx([peak, peak], rel=1.3e-4, abs=0.0)


def test_weighting_is_that_of_the_package_at_every_rate(page: Chromium) -> None:
    rates = [8_000, 11_025, 22_050, 32_000, 44_100, 48_000, 88_200, 96_000]
    found = page.run("return args[0].map(Numbers.kWeighting);", rates)
    for rate, sections in zip(rates, found, strict=True):
        np.testing.assert_allclose(sections, k_weighting(rate), rtol=1e-9, atol=1e-15)


def test_loudness_is_that_of_a_second_meter(page: Chromium) -> None:
    """pyloudnorm 'DeMan' at 48 kHz: the filter of the norm's tables, but for rounding."""
    signal = uneven(6, 48_000)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = pyloudnorm.Meter(48_000, filter_class="DeMan").integrated_loudness(signal)
    found = page.run("return Numbers.loudness(args[0].map(samples), 48000);", sent(signal))
    assert found == pytest.approx(theirs, abs=1e-5)  # rounded to single precision on the way


def test_a_tone_reads_as_the_norm_says(page: Chromium) -> None:
    """BS.1770: a sine at 997 Hz, 0 dBFS, in one channel of two reads -3.01 LUFS."""
    tone = np.sin(2 * np.pi * 997 / 48_000 * np.arange(48_000))
    signal = np.stack([tone, np.zeros_like(tone)], axis=1)
    found = page.run("return Numbers.loudness(args[0].map(samples), 48000);", sent(signal))
    assert found == pytest.approx(-3.01, abs=0.005)


@pytest.mark.parametrize("part", [0.11, 0.25, 0.41, 0.47])
def test_the_peak_of_a_sine_is_found_between_its_samples(page: Chromium, part: float) -> None:
    """Closed form: a sine of amplitude 1. Eight instants a sample lose 0.17 dB at most."""
    tone = np.sin(2 * np.pi * part * np.arange(6_000) + 0.3)
    fade = np.minimum(1, np.minimum(np.arange(6_000), np.arange(6_000)[::-1]) / 1_000)
    found = page.run(
        "return Numbers.truePeak(args[0].map(samples), 48000);", sent((tone * fade)[:, None])
    )
    assert -0.18 < 20 * math.log10(found) < 0.03


# ---- gains

LOUDNESS = st.one_of(st.none(), st.floats(-90.0, 0.0), st.integers(-80, 0).map(float))
PEAK = st.floats(1e-6, 4.0)


@st.composite
def levels(draw: st.DrawFn) -> Level:
    loudness = draw(LOUDNESS)
    if loudness is None:
        return Level(-math.inf, draw(st.sampled_from([0.0, 1e-7])))
    return Level(loudness, draw(PEAK))


@st.composite
def comparisons(draw: st.DrawFn) -> dict[str, Any]:
    """Source and choices with their drops."""
    names = "abcd"[: draw(st.integers(1, 4))]
    drops = draw(st.sampled_from([("both",), ACROSS]))
    ends: list[Heard] = [SOURCE] if draw(st.booleans()) else []
    for name in names:
        ends += [End("receiving", name), *(End("drop", name, across) for across in drops)]
    return {
        "names": names,
        "reference": draw(levels()).loudness,
        "compared": {heard: draw(levels()) for heard in ends},
        "shared": [draw(st.booleans()) for _ in ends],
        "level_matches": {name: draw(st.floats(-1.0, 12.0)) for name in names},
        "makeup": draw(st.floats(-20.0, 60.0)),
    }


def ways(makeup: float) -> list[dict[str, Any]]:
    """Every way that gains can be asked for."""
    return [
        {"match": match, "drops": drops, "makeup": given}
        for match in ("installed", "loudness", 1_000.0)
        for drops in ("one", "equal")
        for given in (None, makeup)
    ]


def many(strategy: st.SearchStrategy[Any], count: int) -> list[Any]:
    """So many of these, so that one call of the browser takes all of them."""
    found: list[Any] = []

    @settings(max_examples=count, phases=[Phase.generate], derandomize=True, deadline=None)
    @given(strategy)
    def collect(one: Any) -> None:
        found.append(one)

    collect()
    return found


def as_page(case: dict[str, Any]) -> dict[str, Any]:
    rows = [
        {
            "choice": None if heard is SOURCE else case["names"].index(heard.choice),
            "signal": "source" if heard is SOURCE else heard.signal,
            "across": "both" if heard is SOURCE else heard.across,
            "loudness": level.loudness if math.isfinite(level.loudness) else None,
            "peak": level.peak,
            "level_match": None if heard is SOURCE else case["level_matches"][heard.choice],
            "shared": shared,
        }
        for (heard, level), shared in zip(case["compared"].items(), case["shared"], strict=True)
    ]
    reference = case["reference"]
    return {
        "reference": reference if math.isfinite(reference) else None,
        "levels": rows,
    }


def as_package(case: dict[str, Any], way: dict[str, Any]) -> list[list[float]]:
    compared, reference = case["compared"], case["reference"]
    matches = dict.fromkeys(case["names"], 0.0)
    if way["match"] == "loudness":
        matches = {
            name: loudness_gain(reference, compared[End("receiving", name)].loudness)
            for name in case["names"]
        }
    elif way["match"] != "installed":
        matches = case["level_matches"]
    shared = [heard for heard, counts in zip(compared, case["shared"], strict=True) if counts]
    gains = balance(reference, compared, matches, way["makeup"], shared, drops=way["drops"])
    return [[one.match, one.makeup, one.headroom, one.total] for one in gains.values()]


def test_gains_are_the_policy_in_every_way(page: Chromium) -> None:
    cases = [(case, way) for case in many(comparisons(), 40) for way in ways(case["makeup"])]
    found = page.run(
        """return args[0].map(([{ reference, levels }, way]) => Numbers.balance(reference, levels, way)
            .map((one) => [one.match, one.makeup, one.headroom, one.total]));""",
        [(as_page(case), way) for case, way in cases],
    )
    for (case, way), gains in zip(cases, found, strict=True):
        np.testing.assert_allclose(gains, as_package(case, way), rtol=0, atol=1e-9)


def test_two_for_a_trial_are_as_the_bench_makes_them(page: Chromium) -> None:
    """Matched in loudness, drops at one make-up gain, then the louder turned down: as live/slots.py."""
    cases = many(comparisons(), 60)
    asked = [
        as_page(case) | {"pair": random.Random(n).sample(range(len(case["compared"])), 2)}
        for n, case in enumerate(cases)
    ]
    found = page.run(
        "return args[0].map((one) => Numbers.frozen(one.reference, one.levels, one.pair));", asked
    )
    way = {"match": "loudness", "drops": "one", "makeup": None}
    told_apart = 0
    for case, ask, gains in zip(cases, asked, found, strict=True):
        total = [row[3] for row in as_package(case, way)]
        heard = list(case["compared"].values())
        pair = ask["pair"]
        try:
            turned = equally_loud([heard[i].loudness + total[i] for i in pair], [0.0, 0.0])
        except RequestError:
            assert gains is None
            continue
        told_apart += 1
        assert gains == pytest.approx(
            [total[i] + t for i, t in zip(pair, turned, strict=True)], abs=1e-9
        )
        peaks = [20 * math.log10(heard[i].peak) + gains[k] for k, i in enumerate(pair)]
        if all(case["shared"]):
            assert max(peaks) < CEILING + 1e-9
    assert told_apart > 5


# ---- blind trials


def test_figures_of_every_score_are_those_of_scipy_and_of_the_package(page: Chromium) -> None:
    trials = [1, 2, 5, 10, 16, 24, 50]
    scores = [(k, n, protocol) for n in trials for k in range(n + 1) for protocol in PROTOCOLS]
    scores += [(5_100, 10_000, "matched-to-sample"), (3_500, 10_000, "triangle")]
    found = page.run("return args[0].map((score) => Numbers.evaluate(...score));", scores)
    for (k, n, protocol), here in zip(scores, found, strict=True):
        guess = float(GUESSING[protocol])
        tested = stats.binomtest(k, n, guess, alternative="greater")
        assert here["probability"] == pytest.approx(tested.pvalue, rel=1e-9)
        limits = stats.binomtest(k, n, guess).proportion_ci(0.95, "exact")
        assert here["proportionLimits"] == pytest.approx([limits.low, limits.high], abs=1e-9)
        there = evaluate(k, n, protocol)
        assert here["probability"] == there.probability  # exact in both, rounded once
        assert here["needed"] == least_correct(n, protocol)
        assert here["distinguishers"] == pytest.approx(there.distinguishers, abs=1e-9)
        assert here["distinguishersLimits"] == pytest.approx(there.distinguishers_limits, abs=1e-9)
        assert told(here["dPrime"] or (math.inf if k == n else 0.0)) == pytest.approx(
            there.d_prime,
            rel=1e-9,
            abs=1e-6,  # flat near chance, see d_prime
        )


def test_a_binomial_tail_is_that_of_scipy_at_any_chance(page: Chromium) -> None:
    cases = [
        (n, k, p)
        for n in (1, 7, 60, 3_000)
        for k in (0, 1, n // 3, n)
        for p in (0.03, 1 / 3, 0.5, 0.97)
    ]
    found = page.run("return args[0].map((one) => Numbers.binomialTail(...one));", cases)
    expected = [stats.binom.sf(k - 1, n, p) for n, k, p in cases]
    np.testing.assert_allclose(found, expected, rtol=1e-9, atol=1e-300)


def test_what_guessing_gives_is_exact_to_the_smallest_double(page: Chromium) -> None:
    cases = [(n, n, protocol) for n in (600, 670, 1_000) for protocol in PROTOCOLS]
    found = page.run("return args[0].map((one) => Numbers.tail(...one));", cases)
    assert found == [float(tail(*case)) for case in cases]


def test_sha_256_is_that_of_hashlib(page: Chromium) -> None:
    rng = random.Random(180_4)
    contents = [rng.randbytes(n) for n in (0, 1, 55, 56, 63, 64, 65, 119, 120, 1_000, 70_001)]
    found = page.run(
        "return args[0].map((text) => Numbers.sha256(bytes(text)));",
        [base64_of(c) for c in contents],
    )
    assert found == [hashlib.sha256(content).hexdigest() for content in contents]


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_the_order_of_a_seed_is_that_of_the_bench(page: Chromium, protocol: Protocol) -> None:
    seeds = [random.Random(n).randbytes(32) for n in range(20)]
    found = page.run(
        "return args[0].map((seed) => Numbers.order(bytes(seed), args[1], 100));",
        [base64_of(seed) for seed in seeds],
        protocol,
    )
    for seed, trials in zip(seeds, found, strict=True):
        expected = [
            {"plays": list(one.plays), "right": one.right} for one in order(seed, protocol, 100)
        ]
        assert trials == expected


def test_third_octaves_are_those_of_the_package(page: Chromium) -> None:
    """Nominal frequencies as there; middles a tenth of a decade apart, edges half of that (IEC 61260-1)."""
    found = page.run(
        "return [Numbers.thirds, Numbers.thirds.map((_, place) => Numbers.third(place))];"
    )
    assert found[0] == list(THIRD_OCTAVES)
    for nominal, band in zip(*found, strict=True):
        assert band["middle"] == pytest.approx(nominal, rel=0.01)
        assert band["high"] / band["low"] == pytest.approx(10**0.1)
        assert band["low"] * band["high"] == pytest.approx(band["middle"] ** 2)


def test_five_minutes_of_stereo_are_measured_and_the_page_stays_alive(page: Chromium) -> None:
    """A minute here: while it is measured, other work of the page gets its turn again and again."""
    turns, shares = page.run(
        """const noise = (seed) => Float32Array.from({ length: 480000 },
            () => ((seed = (seed * 48271) % 2147483647) / 2147483647 - 0.5));
        let turns = 0, shares = [];
        const clock = setInterval(() => { turns += 1; });
        await Numbers.measure([noise(1), noise(2)], 48000, 0, (share) => shares.push(share));
        clearInterval(clock);
        return [turns, shares];"""
    )
    assert turns > 3
    assert shares == sorted(shares)
    assert 0 < shares[0] < shares[-1] <= 1
