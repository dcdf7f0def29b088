"""Trial statistics against published tables, SciPy, other published formulas and simulation.

ISO 10399 Table A.1 was read in its adoption as GOST ISO 10399-2015, Annex A; the triangle table in FAO
document V7180E, Appendix A. Single values and formulas say where they are from.
"""

import math
import re
from fractions import Fraction
from itertools import pairwise

import mpmath
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from auralize.trials import statistics
from auralize.trials.statistics import (
    D_PRIME_METHOD,
    GUESSING,
    INTERVAL_METHOD,
    MOST_TRIALS,
    Protocol,
    check_protocol,
    d_prime,
    distinguishers,
    evaluate,
    findings,
    interval,
    least_correct,
    percent,
    power,
    proportion_correct,
    tail,
    trials_needed,
    verdict,
)

PROTOCOLS: list[Protocol] = ["matched-to-sample", "triangle"]
protocols = st.sampled_from(PROTOCOLS)
untimed = settings(deadline=None, max_examples=30)

# n: fewest right answers at alpha 0.20, 0.10, 0.05, 0.01, 0.001.
ISO_10399_A1 = """
6: 5 6 6 - -        7: 6 6 7 7 -        8: 6 7 7 8 -        9: 7 7 8 9 -        10: 7 8 9 10 10
11: 8 9 9 10 11     12: 8 9 10 11 12    13: 9 10 10 12 13   14: 10 10 11 12 13  15: 10 11 12 13 14
16: 11 12 12 14 15  17: 11 12 13 14 16  18: 12 13 13 15 16  19: 12 13 14 15 17  20: 13 14 15 16 18
21: 13 14 15 17 18  22: 14 15 16 17 19  23: 15 16 16 18 20  24: 15 16 17 19 20  25: 16 17 18 19 21
26: 16 17 18 20 22  27: 17 18 19 20 22  28: 17 18 19 21 23  29: 18 19 20 22 24  30: 18 20 20 22 24
32: 19 21 22 24 26  36: 22 23 24 26 28  40: 24 25 26 28 31  44: 26 27 28 31 33  48: 28 29 31 33 36
52: 30 32 33 35 38  56: 32 34 35 38 40  60: 34 36 37 40 43  64: 36 38 40 42 45  68: 38 40 42 45 48
72: 41 42 44 47 50  76: 43 45 46 49 52  80: 45 47 48 51 55  84: 47 49 51 54 57  88: 49 51 53 56 59
"""
ISO_LEVELS = [0.20, 0.10, 0.05, 0.01, 0.001]

# n: fewest right answers at 10, 5, 1, 0.1 %.
FAO_V7180E_A = """
3: 3 3 - -       4: 4 4 - -       5: 4 4 5 -       6: 5 5 6 -       7: 5 5 6 7       8: 5 6 7 8
9: 6 6 7 8       10: 6 7 8 9      11: 7 7 8 10     12: 7 8 9 10     13: 8 8 9 11     14: 8 9 10 11
15: 8 9 10 12    16: 9 9 11 12    17: 9 10 11 13   18: 10 10 12 13  19: 10 11 12 14  20: 10 11 13 14
21: 11 12 13 15  22: 11 12 14 15  23: 12 12 14 16  24: 12 13 15 16  25: 12 13 15 17  26: 13 14 15 17
27: 13 14 16 18  28: 14 15 16 18  29: 14 15 17 19  30: 14 15 17 19  31: 15 16 18 20  32: 15 16 18 20
33: 15 17 18 21  34: 16 17 19 21  35: 16 17 19 22  36: 17 18 20 22  42: 19 20 22 25  48: 21 22 25 27
54: 23 25 27 30  60: 26 27 30 33  66: 28 29 32 35  72: 30 32 34 38  78: 32 34 37 40  84: 35 36 39 43
90: 37 38 42 45  96: 39 41 44 48
"""
FAO_LEVELS = [0.10, 0.05, 0.01, 0.001]


def rows(table: str) -> dict[int, list[int | None]]:
    found: dict[int, list[int | None]] = {}
    for word in table.split():
        if word.endswith(":"):
            row = found.setdefault(int(word[:-1]), [])
        else:
            row.append(None if word == "-" else int(word))
    return found


@pytest.mark.parametrize(
    ("table", "protocol", "levels", "count"),
    [
        (ISO_10399_A1, "matched-to-sample", ISO_LEVELS, 40),
        (FAO_V7180E_A, "triangle", FAO_LEVELS, 44),
    ],
    ids=["ISO 10399 A.1", "FAO V7180E A"],
)
def test_least_correct_is_the_published_table(
    table: str, protocol: Protocol, levels: list[float], count: int
) -> None:
    published = rows(table)
    assert len(published) == count
    assert {len(row) for row in published.values()} == {len(levels)}
    ours = {n: [least_correct(n, protocol, level) for level in levels] for n in published}
    assert ours == published


@pytest.mark.parametrize(("correct", "trials"), [(11, 20), (10, 15), (44, 90), (1, 1)])
def test_tail_is_the_share_of_answer_sheets(correct: int, trials: int) -> None:
    """Of all 3^n sheets filled in by guessing, C(n, k) 2^(n - k) have k right: the binomial theorem."""
    good = sum(math.comb(trials, k) * 2 ** (trials - k) for k in range(correct, trials + 1))
    assert tail(correct, trials, "triangle") == Fraction(good, 3**trials)


def test_tail_by_hand() -> None:
    assert tail(3, 3, "triangle") == Fraction(1, 27)
    assert tail(2, 3, "triangle") == Fraction(7, 27)
    assert tail(9, 10, "matched-to-sample") == Fraction(11, 1024)
    assert tail(0, 7, "triangle") == 1


@untimed
@given(protocols, st.integers(1, 300), st.data())
def test_tail_agrees_with_scipy(protocol: Protocol, trials: int, data: st.DataObject) -> None:
    correct = data.draw(st.integers(0, trials))
    theirs = stats.binomtest(
        correct, trials, float(GUESSING[protocol]), alternative="greater"
    ).pvalue
    assert float(tail(correct, trials, protocol)) == pytest.approx(theirs, rel=1e-10)


@untimed
@given(protocols, st.integers(1, 300), st.floats(1e-6, 0.999))
def test_least_correct_is_the_least(protocol: Protocol, trials: int, alpha: float) -> None:
    least = least_correct(trials, protocol, alpha)
    assert least is None or tail(least, trials, protocol) <= alpha
    before = trials if least is None else least - 1
    assert tail(before, trials, protocol) > alpha


def test_a_level_that_is_just_met_is_reached() -> None:
    """P(X >= 2 of 3) = 4 / 8 and P(X >= 2 of 2) = 1 / 4, exactly."""
    assert least_correct(3, "matched-to-sample", 0.5) == 2
    assert least_correct(2, "matched-to-sample", 0.25) == 2
    assert trials_needed(1.0, "matched-to-sample", 0.5) == 1


@untimed
@given(st.integers(1, 400), st.sampled_from([0.8, 0.9, 0.95, 0.99]), st.data())
def test_interval_agrees_with_scipy(trials: int, confidence: float, data: st.DataObject) -> None:
    correct = data.draw(st.integers(0, trials))
    theirs = stats.binomtest(correct, trials).proportion_ci(confidence, method="exact")
    assert interval(correct, trials, confidence) == pytest.approx(
        (theirs.low, theirs.high), rel=1e-9
    )
    if 0 < correct < trials:
        side = (1 - confidence) / 2
        low = stats.beta.ppf(side, correct, trials - correct + 1)
        high = stats.beta.ppf(1 - side, correct + 1, trials - correct)
        assert interval(correct, trials, confidence) == pytest.approx((low, high), rel=1e-9)


def test_interval_covers_what_it_claims() -> None:
    """Summed over all outcomes: never under 95 %, at any probability (exact, no simulation)."""
    limits = [interval(k, 24) for k in range(25)]
    for right in np.linspace(0.01, 0.99, 99):
        inside = [k for k, (low, high) in enumerate(limits) if low <= right <= high]
        assert np.sum(stats.binom.pmf(inside, 24, right)) >= 0.95


@pytest.mark.parametrize("delta", [0.01, 0.3, 1.0, 1.7, 2.5, 4.0, 7.0, 11.0])
def test_triangle_function_has_a_second_form(delta: float) -> None:
    """A non-central F tail, F(1, 1, 2 d'^2 / 3) above 3 (Brockhoff and Christensen 2010; from memory)."""
    expected = stats.ncf.sf(3, 1, 1, 2 * delta**2 / 3)
    assert proportion_correct(delta, "triangle") == pytest.approx(expected, rel=1e-12)


def frijters(delta: float) -> mpmath.mpf:
    """Frijters, Kooistra and Vereijken (1980), eq. (1), from memory: an integral over the distance of two."""
    shift = delta * mpmath.sqrt(mpmath.mpf(2) / 3)

    def density(u: mpmath.mpf) -> mpmath.mpf:
        near, far = (mpmath.ncdf(s * shift - mpmath.sqrt(3) * u) for s in (1, -1))
        return 2 * mpmath.npdf(u) * (near + far)

    return mpmath.quad(density, [0, 1, 3, 12])


@pytest.mark.parametrize("delta", [0.0, 0.01, 1.0, 2.5, 7.0, 11.0])
def test_triangle_function_is_the_integral_it_stands_for(delta: float) -> None:
    with mpmath.workdps(25):
        assert proportion_correct(delta, "triangle") == pytest.approx(
            float(frijters(delta)), rel=1e-14
        )


@pytest.mark.parametrize("delta", [0.01, 0.3, 1.0, 1.7, 2.5, 4.0])
def test_matched_to_sample_function_is_a_sign_of_two_normals(delta: float) -> None:
    """Right where the unknown's nearness and the references' order agree: an orthant probability."""
    near, middle = stats.norm.cdf(delta / math.sqrt(2)), stats.norm.cdf(delta / math.sqrt(6))
    duo_trio = 1 - near - middle + 2 * near * middle  # Ennis (1993), duo-trio; from memory
    assert proportion_correct(delta, "matched-to-sample") == pytest.approx(duo_trio, rel=1e-12)


@pytest.mark.parametrize(
    ("protocol", "proportion", "published", "digits"),
    [
        # Values from memory: Ennis (1993), tables of the triangular method.
        ("triangle", 0.418, 1.00, 2),
        ("triangle", 0.605, 2.00, 2),
    ],
)
def test_d_prime_is_the_published_one(
    protocol: Protocol, proportion: float, published: float, digits: int
) -> None:
    assert round(d_prime(proportion, protocol), digits) == published


@pytest.mark.parametrize(("correct", "trials"), [(10, 15), (6, 15), (14, 15)])
def test_d_prime_of_a_score_solves_the_integral(correct: int, trials: int) -> None:
    with mpmath.workdps(18):
        wanted = mpmath.mpf(correct) / trials
        root = mpmath.findroot(lambda d: frijters(d) - wanted, (1.0, 3.0), solver="anderson")
    assert d_prime(correct / trials, "triangle") == pytest.approx(float(root), rel=1e-12)


@pytest.mark.parametrize(("correct", "trials"), [(10, 15), (9, 15), (14, 15)])
def test_d_prime_of_a_matched_score_solves_two_normals(correct: int, trials: int) -> None:
    """2 pc - 1 = (2 Phi(d'/sqrt2) - 1) (2 Phi(d'/sqrt6) - 1): two independent signs agree or not."""
    with mpmath.workdps(25):
        wanted = 2 * mpmath.mpf(correct) / trials - 1
        root = mpmath.findroot(
            lambda d: mpmath.erf(d / 2) * mpmath.erf(d / mpmath.sqrt(12)) - wanted, 2
        )
    assert d_prime(correct / trials, "matched-to-sample") == pytest.approx(float(root), rel=1e-12)


@pytest.mark.parametrize("delta", [0.0, 0.8, 1.5, 3.0])
def test_psychometric_functions_against_simulated_listeners(delta: float) -> None:
    """Listeners with one normal draw per presentation and the decision rule itself: 4 standard errors."""
    generator = np.random.default_rng(4120)
    count = 200_000

    first, second = generator.normal(size=(2, count))
    odd = generator.normal(delta, size=count)
    pair, others = abs(first - second), np.minimum(abs(first - odd), abs(second - odd))
    expected = proportion_correct(delta, "triangle")
    assert abs((pair < others).mean() - expected) < 4 * math.sqrt(expected * (1 - expected) / count)

    a, b = generator.normal(size=count), generator.normal(delta, size=count)
    is_b = generator.integers(0, 2, count)
    x = generator.normal(size=count) + delta * is_b
    says_b = abs(x - b) < abs(x - a)
    expected = proportion_correct(delta, "matched-to-sample")
    share = (says_b == is_b).mean()
    assert abs(share - expected) < 4 * math.sqrt(expected * (1 - expected) / count)


@untimed
@given(protocols, st.floats(0, 8))
def test_d_prime_undoes_the_psychometric_function(protocol: Protocol, delta: float) -> None:
    back = d_prime(proportion_correct(delta, protocol), protocol)
    # The bound on the error of p (1e-15) over the slope, which goes as d' near 0; and the far tail.
    allowed = 1e-7 if delta < 0.1 else 1e-12 if delta < 4 else 1e-6
    assert back == pytest.approx(delta, abs=allowed)


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_d_prime_at_its_ends(protocol: Protocol) -> None:
    guess = float(GUESSING[protocol])
    assert proportion_correct(0, protocol) == pytest.approx(guess, rel=1e-14)
    assert proportion_correct(math.inf, protocol) == 1
    assert d_prime(guess - 0.1, protocol) == 0
    assert d_prime(0.5, "matched-to-sample") == 0  # just chance
    assert d_prime(1, protocol) == math.inf
    almost = math.nextafter(1, 0)
    assert 5 < d_prime(almost, protocol) < 30
    assert proportion_correct(d_prime(almost, protocol), protocol) >= almost


def test_distinguishers_by_hand() -> None:
    """ISO 4120: pd = 1.5 pc - 0.5; ISO 10399: pd = 2 pc - 1."""
    assert distinguishers(0.6, "triangle") == pytest.approx(0.4, rel=1e-12)
    assert distinguishers(0.8, "matched-to-sample") == pytest.approx(0.6, rel=1e-12)
    assert distinguishers(0.2, "triangle") == 0


@pytest.mark.parametrize(
    ("target", "published"), [(0.5, 16), (0.6, 23), (0.7, 30), (0.8, 40), (0.9, 53), (0.95, 66)]
)
def test_trials_needed_is_the_published_number(target: float, published: int) -> None:
    """Triangle, 30 % distinguishers, alpha 0.05: ISO 4120 Table A.3 (values from memory)."""
    assert trials_needed(0.3, "triangle", 0.05, target) == published


@untimed
@given(protocols, st.integers(1, 200), st.floats(0.01, 1), st.sampled_from([0.05, 0.01]))
def test_power_agrees_with_scipy(
    protocol: Protocol, trials: int, share: float, alpha: float
) -> None:
    guess = float(GUESSING[protocol])
    right = share + guess * (1 - share)
    needed = stats.binom.isf(alpha, trials, guess) + 1
    expected = stats.binom.sf(needed - 1, trials, right)
    assert power(trials, share, protocol, alpha) == pytest.approx(expected, rel=1e-9, abs=1e-300)


@untimed
@given(protocols, st.floats(0.15, 1), st.sampled_from([0.05, 0.01]), st.floats(0.5, 0.95))
def test_trials_needed_is_the_first(
    protocol: Protocol, share: float, alpha: float, target: float
) -> None:
    needed = trials_needed(share, protocol, alpha, target)
    assert power(needed, share, protocol, alpha) >= target
    assert all(power(fewer, share, protocol, alpha) < target for fewer in range(1, needed))


def test_the_most_trials_are_the_last_that_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    needed = trials_needed(0.4, "triangle")
    monkeypatch.setattr(statistics, "MOST_TRIALS", needed)
    assert trials_needed(0.4, "triangle") == needed
    monkeypatch.setattr(statistics, "MOST_TRIALS", needed - 1)
    with pytest.raises(ValueError, match=f"more than {needed - 1} trials"):
        trials_needed(0.4, "triangle")


@untimed
@given(protocols, st.integers(1, 200))
def test_evaluate_rises_with_the_score(protocol: Protocol, trials: int) -> None:
    results = [evaluate(correct, trials, protocol) for correct in range(0, trials + 1, 7)]
    for less, more in pairwise(results):
        assert less.probability >= more.probability
        assert less.proportion_limits < more.proportion_limits
        assert less.d_prime_limits <= more.d_prime_limits
    for result in results:
        assert result.d_prime_limits[0] <= result.d_prime <= result.d_prime_limits[1]
        low, high = result.distinguishers_limits
        assert low <= result.distinguishers <= high


def test_a_score_that_shows_nothing_is_said_so() -> None:
    """P(X >= 9 of 16) = 26333 / 65536, by hand from Pascal's triangle; 12 is ISO 10399 Table A.1."""
    assert tail(9, 16, "matched-to-sample") == Fraction(26333, 65536)
    assert verdict(evaluate(9, 16, "matched-to-sample")) == (
        "A difference was not shown: 9 of 16 right or better happens by guessing alone in 40.2 % of such "
        "sessions (12 right were needed for the 5 % level); this does not show that the two sound the same."
    )


def test_a_score_that_shows_something_is_said_so() -> None:
    assert verdict(evaluate(12, 16, "matched-to-sample")) == (
        "A difference was shown at the 5 % level: 12 of 16 right or better happens by guessing alone in "
        "3.84 % of such sessions."
    )


def test_too_few_trials_are_said_so() -> None:
    for trials, words in ((1, "1 trial is"), (2, "2 trials are")):
        sentence = verdict(evaluate(trials, trials, "triangle"))
        assert f"{words} too few to show anything at the 5 % level" in sentence


def test_findings_name_their_methods() -> None:
    for protocol in PROTOCOLS:
        text = " ".join(findings(evaluate(11, 16, protocol)))
        assert INTERVAL_METHOD in text
        assert D_PRIME_METHOD[protocol] in text


def test_a_score_under_chance_claims_no_size() -> None:
    """Clipped limits of 0 and 0 would read as proof of sameness."""
    text = " ".join(findings(evaluate(0, 16, "matched-to-sample")))
    assert "Fewer right than guessing gives" in text
    assert "d'" not in text


@untimed
@given(protocols, st.integers(1, 120), st.sampled_from([0.2, 0.05, 0.001]), st.data())
def test_no_sentence_ever_says_no_difference(
    protocol: Protocol, trials: int, alpha: float, data: st.DataObject
) -> None:
    correct = data.draw(st.integers(0, trials))
    text = " ".join(findings(evaluate(correct, trials, protocol), alpha)).lower()
    for claim in ("no difference", "identical", "inaudible", "no audible", "are the same"):
        assert claim not in text
    significant = tail(correct, trials, protocol) <= alpha
    assert text.startswith("a difference was shown") == significant
    assert ("does not show that the two sound the same" in text) != significant


def test_percent_never_rounds_to_certainty() -> None:
    assert [percent(p) for p in (0.0, 1e-9, 0.0000153, 0.05, 0.4018, 0.9999, 1.0)] == [
        "0 %",
        "less than 0.001 %",
        "0.0015 %",
        "5 %",
        "40 %",
        "more than 99 %",
        "100 %",
    ]


def test_percent_is_exact_to_99_and_says_more_from_there() -> None:
    assert [percent(p) for p in (0.985, 0.99, 0.9901, 0.993, 0.9951)] == [
        "98 %",
        "99 %",
        *["more than 99 %"] * 3,
    ]


@pytest.mark.parametrize("protocol", PROTOCOLS)
def test_a_probability_too_small_for_a_double_is_never_called_nothing(protocol: Protocol) -> None:
    """1 / 2^2000 and 1 / 3^2000 are under 5e-324."""
    assert float(tail(2000, 2000, protocol)) == 0.0
    result = evaluate(2000, 2000, protocol)
    assert result.probability > 0.0
    text = " ".join(findings(result))
    assert "happens by guessing alone in less than 0.001 % of such sessions" in text
    assert re.search(r"(?<![\d.])0 %", text) is None


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: tail(5, 4, "triangle"), "right answers: from 0 to 4 are expected, not 5"),
        (lambda: tail(-1, 4, "triangle"), "right answers: from 0 to 4 are expected, not -1"),
        (lambda: tail(0, 0, "triangle"), "trials: from 1 to 10000 are expected, not 0"),
        (lambda: least_correct(MOST_TRIALS + 1, "triangle"), "trials: from 1 to 10000"),
        (lambda: least_correct(9, "triangle", 0.0), "alpha: a number between 0 and 1"),
        (lambda: interval(1, 2, 1.0), "confidence: a number between 0 and 1"),
        (lambda: distinguishers(1.1, "triangle"), "proportion: a number from 0 to 1"),
        (lambda: d_prime(math.nan, "triangle"), "proportion: a number from 0 to 1"),
        (lambda: proportion_correct(-0.1, "triangle"), "d': a number from 0 up"),
        (lambda: power(10, 0.0, "triangle"), "share of distinguishers: above 0 and up to 1"),
        (lambda: trials_needed(0.5, "triangle", target=1.0), "target power: a number between"),
        (lambda: trials_needed(0.005, "triangle"), "would need more than 10000 trials"),
        (lambda: check_protocol("pairs"), "'matched-to-sample' or 'triangle' is expected"),
    ],
)
def test_what_cannot_be_computed_is_said(call: object, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        call()  # type: ignore[operator]
