"""What the answers of a blind trial show: exact probabilities, intervals, d', numbers of trials.

Pure functions of counts. Two protocols: "matched-to-sample" has two references and an unknown that is
one of them (guessing is right once in 2); "triangle" (ISO 4120) has three presentations of which one
is odd (once in 3). Formulas are cited where they stand; those marked 'from memory' could not be read.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final, Literal

Protocol = Literal["matched-to-sample", "triangle"]

GUESSING: Final[dict[Protocol, Fraction]] = {
    "matched-to-sample": Fraction(1, 2),
    "triangle": Fraction(1, 3),
}
"""Probability of a right answer by guessing alone."""

D_PRIME_METHOD: Final[dict[Protocol, str]] = {
    "matched-to-sample": "matching-to-sample, differencing rule (Macmillan and Creelman)",
    "triangle": "Thurstonian triangle, three-stimulus oddity (Frijters)",
}
"""The model behind d'. A listener who has learnt both references by heart and judges each sound by
itself (independent observations) would reach the same score with a smaller d'."""

INTERVAL_METHOD: Final = "Clopper-Pearson"

MOST_TRIALS: Final = 10_000
"""Exact arithmetic stays under 0.1 s up to here."""

HIGHEST_D_PRIME: Final = 30.0
"""Here every psychometric function has rounded to 1 in double precision."""


def check_protocol(protocol: str) -> Protocol:
    """The name if it is one of the two; ValueError otherwise."""
    for known in GUESSING:
        if protocol == known:
            return known
    names = " or ".join(f"'{name}'" for name in GUESSING)
    raise ValueError(f"protocol: {names} is expected, not {protocol!r}")


def tail(correct: int, trials: int, protocol: Protocol) -> Fraction:
    """P(X >= correct) when each of the trials is a guess: the exact binomial tail."""
    _check_counts(correct, trials)
    guess = GUESSING[check_protocol(protocol)]
    return Fraction(sum(_weights(trials, guess)[correct:]), guess.denominator**trials)


def least_correct(trials: int, protocol: Protocol, alpha: float = 0.05) -> int | None:
    """Fewest right answers with P(X >= k) <= alpha; None where not even all of them reach it.

    The tables of ISO 10399 (A.1) and ISO 4120. Every P is a fraction over 2^n or 3^n: of decimal levels only
    those that a double holds exactly (0.5, 0.25) are met with equality, so that rounding cannot matter.
    """
    _check_counts(0, trials)
    _check_between("alpha", alpha)
    guess = GUESSING[check_protocol(protocol)]
    allowed = Fraction(alpha) * guess.denominator**trials
    weights = _weights(trials, guess)
    reached, correct = 0, trials + 1
    while reached + weights[correct - 1] <= allowed:
        correct -= 1
        reached += weights[correct]
    return correct if correct <= trials else None


def interval(correct: int, trials: int, confidence: float = 0.95) -> tuple[float, float]:
    """Clopper-Pearson limits of the probability of a right answer (two-sided, exact: never too short)."""
    from scipy.special import betaincinv

    _check_counts(correct, trials)
    _check_between("confidence", confidence)
    each_side = (1 - confidence) / 2
    low = float(betaincinv(correct, trials - correct + 1, each_side)) if correct else 0.0
    wrong = trials - correct
    high = float(betaincinv(correct + 1, wrong, 1 - each_side)) if wrong else 1.0
    return low, high


def distinguishers(proportion: float, protocol: Protocol) -> float:
    """Share of trials in which the two were told apart, the rest being guesses.

    ISO 4120: pc = pd + p0 (1 - pd), solved for pd. A score under chance gives 0, the closest share.
    """
    _check_share("proportion", proportion)
    guess = float(GUESSING[check_protocol(protocol)])
    return max(0.0, (proportion - guess) / (1 - guess))


def proportion_correct(d_prime: float, protocol: Protocol) -> float:
    """Psychometric function: probability of a right answer at a d' >= 0, without bias. Error < 1e-13."""
    if not d_prime >= 0:
        raise ValueError(f"d': a number from 0 up is expected, not {d_prime!r}")
    if check_protocol(protocol) == "triangle":
        return _triangle(d_prime)
    return _matched_to_sample(d_prime)


def d_prime(proportion: float, protocol: Protocol) -> float:
    """The d' that gives this proportion of right answers; 0 at chance and under it, inf at 1.

    By bisection. The function is flat (quadratic) at 0: the error is up to 1e-7 near chance, 1e-12 above
    d' = 0.1.
    """
    _check_share("proportion", proportion)
    if proportion <= GUESSING[check_protocol(protocol)]:
        return 0.0
    if proportion == 1:
        return math.inf
    low, high = 0.0, HIGHEST_D_PRIME
    while low < (middle := (low + high) / 2) < high:
        if proportion_correct(middle, protocol) < proportion:
            low = middle
        else:
            high = middle
    return high


def power(trials: int, share: float, protocol: Protocol, alpha: float = 0.05) -> float:
    """Probability of a significant session if the two are told apart in this share of the trials."""
    needed = least_correct(trials, protocol, alpha)
    right = _right_at(share, protocol)
    return 0.0 if needed is None else _float_tail(needed, trials, right)


def trials_needed(
    share: float, protocol: Protocol, alpha: float = 0.05, target: float = 0.8
) -> int:
    """Fewest trials whose power reaches the target; ValueError where more than 10 000 are needed.

    Power goes up in a saw-tooth: a few more trials than this can have a little less of it.
    """
    _check_between("alpha", alpha)
    _check_between("target power", target)
    guess, right = float(GUESSING[check_protocol(protocol)]), _right_at(share, protocol)
    needed = 1
    for trials in range(1, MOST_TRIALS + 1):
        # One more trial raises the number that is needed by one or not at all.
        if _float_tail(needed, trials, guess) > alpha:
            needed += 1
        if needed <= trials and _float_tail(needed, trials, right) >= target:
            return trials
    raise ValueError(
        f"share of distinguishers: {percent(share)} would need more than {MOST_TRIALS} trials; "
        "a larger share, a larger alpha or less power is needed"
    )


@dataclass(frozen=True)
class Result:
    """What a number of right answers shows. Limits are pairs (low, high) at ``confidence``."""

    protocol: Protocol
    trials: int
    correct: int
    probability: float
    """P(X >= correct) by guessing alone, exact, rounded once."""
    confidence: float
    proportion_limits: tuple[float, float]
    distinguishers: float
    distinguishers_limits: tuple[float, float]
    d_prime: float
    d_prime_limits: tuple[float, float]

    @property
    def proportion(self) -> float:
        """Share of right answers."""
        return self.correct / self.trials


def evaluate(correct: int, trials: int, protocol: Protocol, confidence: float = 0.95) -> Result:
    """All figures of one score. The limits of d' and of the share are those of the proportion, carried
    over: both functions rise with it."""
    limits = interval(correct, trials, confidence)
    proportion = correct / trials
    return Result(
        protocol=protocol,
        trials=trials,
        correct=correct,
        # Beyond the smallest double it is not nothing either.
        probability=float(tail(correct, trials, protocol)) or math.ulp(0.0),
        confidence=confidence,
        proportion_limits=limits,
        distinguishers=distinguishers(proportion, protocol),
        distinguishers_limits=(
            distinguishers(limits[0], protocol),
            distinguishers(limits[1], protocol),
        ),
        d_prime=d_prime(proportion, protocol),
        d_prime_limits=(d_prime(limits[0], protocol), d_prime(limits[1], protocol)),
    )


def verdict(result: Result, alpha: float = 0.05) -> str:
    """One plain sentence: shown or not shown. A score that is not significant is never called proof of
    sameness."""
    by_chance = (
        f"{result.correct} of {result.trials} right or better happens by guessing alone in "
        f"{percent(result.probability, 3)} of such sessions"
    )
    needed = least_correct(result.trials, result.protocol, alpha)
    if needed is not None and result.correct >= needed:
        return f"A difference was shown at the {percent(alpha)} level: {by_chance}."
    if needed is None:
        trials = "1 trial is" if result.trials == 1 else f"{result.trials} trials are"
        return (
            f"A difference was not shown: {by_chance}; {trials} too few to show anything at the "
            f"{percent(alpha)} level, and this does not show that the two sound the same."
        )
    return (
        f"A difference was not shown: {by_chance} ({needed} right were needed for the "
        f"{percent(alpha)} level); this does not show that the two sound the same."
    )


def findings(result: Result, alpha: float = 0.05) -> tuple[str, ...]:
    """The verdict, then the size of what was heard, each with its interval and its method."""
    sure = f"{percent(result.confidence)} confidence"
    guess = float(GUESSING[result.protocol])
    first = (
        verdict(result, alpha),
        f"Right answers: {percent(result.proportion)}, between {_span(result.proportion_limits)} "
        f"({sure}, {INTERVAL_METHOD}); guessing alone gives {percent(guess)}.",
    )
    if result.proportion_limits[1] <= guess:
        # Clipped at chance, both limits would be 0: that reads as certainty and is none.
        return (
            *first,
            "Fewer right than guessing gives: no size can be stated; perhaps answers were given the wrong "
            "way round.",
        )
    return (
        *first,
        f"Told apart in {percent(result.distinguishers)} of the trials, between "
        f"{_span(result.distinguishers_limits)} ({sure}; the rest taken as guesses).",
        f"d' {_number(result.d_prime)}, between {_number(result.d_prime_limits[0])} and "
        f"{_number(result.d_prime_limits[1])} ({sure}; {D_PRIME_METHOD[result.protocol]}).",
    )


def percent(share: float, digits: int = 2) -> str:
    """A share from 0 to 1 in so many digits. 0 % and 100 % are kept for a share that is 0 or 1."""
    value = 100 * share
    if share in (0, 1):
        return f"{value:.0f} %"
    if value < 0.001:
        return "less than 0.001 %"
    return "more than 99 %" if value > 99 else f"{value:.{digits}g} %"


def _span(limits: tuple[float, float]) -> str:
    return f"{percent(limits[0])} and {percent(limits[1])}"


def _number(value: float) -> str:
    return "beyond measure" if math.isinf(value) else f"{value:.2f}"


def _weights(trials: int, guess: Fraction) -> Sequence[int]:
    """C(n, k) a^k (b - a)^(n - k) for k = 0 to n, where guessing is right with probability a / b."""
    hit, miss = guess.numerator, guess.denominator - guess.numerator
    weight = miss**trials
    weights = [weight]
    for k in range(trials):
        # Exact: weight[k] holds a factor miss^(n-k), and C(n, k) (n - k) is divisible by k + 1.
        weight = weight // miss * hit * (trials - k) // (k + 1)
        weights.append(weight)
    return weights


def _float_tail(correct: int, trials: int, right: float) -> float:
    """P(X >= correct) at any probability of a right answer; relative error about 1e-13."""
    from scipy.special import betainc

    if correct > trials:
        return 0.0
    return float(betainc(correct, trials - correct + 1, right))


def _normal(x: float) -> float:
    return math.erfc(-x / math.sqrt(2)) / 2


def _matched_to_sample(delta: float) -> float:
    """Differencing rule: the unknown is given to the reference that seems nearer.

    Where its distance from the middle of the references, N(d' / 2, 3 / 2), and their own, N(d', 2), which
    are independent, have one sign. The model is in Macmillan and Creelman, Detection Theory, chapter on
    classification designs (from memory). The duo-trio test has the same function.
    """
    near, middle = delta / math.sqrt(2), delta / math.sqrt(6)
    return _normal(near) * _normal(middle) + _normal(-near) * _normal(-middle)


def _triangle(delta: float) -> float:
    """The odd one is where the other two seem nearest to each other.

    Frijters, Kooistra and Vereijken (1980), Perception & Psychophysics 27, 176-178, eq. (1) (from
    memory), in closed form: P(|x| > sqrt3 |y|), x from N(d' sqrt(2/3), 1) and y from N(0, 1). Both
    (x +- sqrt3 y) / 2 then have one sign: two normals of mean d' / sqrt6, variance 1 and correlation
    -1/2, whose orthants are given by T of Owen (1956), Ann. Math. Stat. 27, 1075-1090 (from memory).
    """
    from scipy.special import owens_t

    return 1 - 4 * float(owens_t(delta / math.sqrt(6), math.sqrt(3)))


def _right_at(share: float, protocol: Protocol) -> float:
    """Probability of a right answer when a share of the trials is told apart (ISO 4120)."""
    if not 0 < share <= 1:
        raise ValueError(f"share of distinguishers: above 0 and up to 1 is expected, not {share!r}")
    guess = float(GUESSING[check_protocol(protocol)])
    return share + guess * (1 - share)


def _check_counts(correct: int, trials: int) -> None:
    if not 1 <= trials <= MOST_TRIALS:
        raise ValueError(f"trials: from 1 to {MOST_TRIALS} are expected, not {trials!r}")
    if not 0 <= correct <= trials:
        raise ValueError(f"right answers: from 0 to {trials} are expected, not {correct!r}")


def _check_between(what: str, value: float) -> None:
    if not 0 < value < 1:
        raise ValueError(f"{what}: a number between 0 and 1 is expected, not {value!r}")


def _check_share(what: str, value: float) -> None:
    if not 0 <= value <= 1:
        raise ValueError(f"{what}: a number from 0 to 1 is expected, not {value!r}")
