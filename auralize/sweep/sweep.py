"""A sweep, the whole way: all cases solved, what was asked of them answered, and put on the disk."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import Executor
from dataclasses import dataclass, field
from pathlib import Path

from auralize.circuit.solution import Across
from auralize.errors import RequestError
from auralize.figures.fit import Kind
from auralize.figures.picture import check_picture
from auralize.outputs import check_ours, fingerprint, made_folder
from auralize.rig.choice import Choice
from auralize.rig.reading import Rig
from auralize.sweep.alone import Alone, each_alone
from auralize.sweep.asked import naming
from auralize.sweep.case_figures import CaseFigures
from auralize.sweep.cases import Cases
from auralize.sweep.cheapest import Cheapest, cheapest, check_prices
from auralize.sweep.chunks import NO_CURVES, Chunks
from auralize.sweep.data import answers_facts, facts
from auralize.sweep.plot import FREQUENCIES, MOST_PLOTTED, percentile_plot
from auralize.sweep.requirement import Requirement
from auralize.sweep.saved import save_sweep, sweep_call, sweep_name
from auralize.sweep.solving import solve_nominal


@dataclass(frozen=True)
class SweepOptions:
    """What else is asked of a sweep."""

    across: Across = "both"
    requirements: Sequence[Requirement] = ()
    """All of what is to be kept."""
    prices: Mapping[str, float] = field(default_factory=dict)
    """Of a metre of each cable: for the cheapest that does, which needs requirements."""
    prices_in: Path | None = None
    """The sweep file that says all of them."""
    matters: Kind | None = None
    """The figure of which is asked what moves it most."""
    plot: str | None = None
    """Ending of the picture of loss and drop."""
    replaces: bool = False


@dataclass(frozen=True)
class Swept:
    """What came of it, and where it is."""

    nominal: Sequence[CaseFigures]
    found: Sequence[CaseFigures]
    cheapest: Cheapest | None
    alone: Sequence[Alone]
    table: Path
    picture: Path | None


def sweep_rig(
    rig: Rig,
    choices: Sequence[Choice],
    cases: Cases,
    into: Path,
    options: SweepOptions,
    progress: Callable[[float], None] = lambda share: None,
    say: Callable[[str], None] = lambda words: None,
    executor: Executor | None = None,
) -> Swept:
    """Solve all cases into a table, with facts and perhaps a picture beside it: all of them or none.

    A call that did not come to its end goes on where it was when it comes again. ``progress`` is told the
    share that is done, ``say`` what was taken up. Cases are solved by the workers of an ``executor``, if
    there is one, to the same result. Raises RequestError, RigError, and FileError or WorkerError, which keep
    what is done.
    """
    across, suffix = options.across, options.plot
    table = into / sweep_name(rig, choices, cases, across, ".csv", _tags(options))
    picture = None if suffix is None else table.with_suffix(suffix)
    required, prices = options.requirements, options.prices
    call = sweep_call(choices, cases, across, required, prices, options.matters)
    if picture is not None and len(cases) > MOST_PLOTTED:
        raise RequestError(
            f"a plot of {len(cases)} cases was asked for; right are up to {MOST_PLOTTED}"
        )

    def check() -> None:
        check_ours(table, call, options.replaces)
        if picture is not None:
            check_picture(picture, call, options.replaces)

    check()
    if prices:
        with naming(options.prices_in):
            check_prices(rig, choices, cases, prices)
    alone = [] if options.matters is None else each_alone(rig, choices, cases)
    frequency = NO_CURVES if picture is None else FREQUENCIES
    chunks = Chunks.beside(table, call, rig, choices, cases, across, frequency)
    with made_folder(into), chunks.kept:
        _say_taken_up(chunks, say)
        nominal = solve_nominal(rig, choices, cases, across=across)
        found = chunks.figures(progress, executor)
        least = cheapest(rig, choices, cases, found, required, prices) if prices else None
        drawn = [] if picture is None else [(picture, percentile_plot(chunks, picture, call))]
        check()  # somebody may have put a file there meanwhile
        told = facts(rig, cases, found, nominal)
        told["answers"] = answers_facts(cases, found, required, least, options.matters, alone)
        save_sweep(cases, found, told, table, call, drawn)
    return Swept(nominal, found, least, alone, table, picture)


def _tags(options: SweepOptions) -> list[str]:
    """Of what is asked, in a file's name."""
    limits = [one.tag for one in options.requirements]
    prices = [f"priced-{fingerprint(options.prices)[:6]}"] if options.prices else []
    matters = [] if options.matters is None else [f"{options.matters}-matters"]
    return [*limits, *prices, *matters]


def _say_taken_up(chunks: Chunks, say: Callable[[str], None]) -> None:
    if taken := chunks.cases_kept:
        say(f"{taken} of {len(chunks.cases)} cases are there already, from the same call")
    elif chunks.kept.of_others:
        say(
            "cases of another call are not taken up: it was of another rig, other options or another version"
        )
