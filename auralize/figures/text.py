"""Figures as text: tables for a terminal of 80 columns."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import TYPE_CHECKING, Final

from auralize.circuit.signals import ACROSS_WORDS
from auralize.figures.against_text import as_comparison
from auralize.figures.columns import (
    MANY,
    WIDTH,
    columns,
    decibels_text,
    factor_text,
    gathered,
    pages,
    three_digits,
    wrapped,
)
from auralize.figures.loudspeakers_text import as_loudspeakers
from auralize.figures.typical import typical_text
from auralize.rig.loads import WHOLE
from auralize.units import rounded, show, show_frequency

if TYPE_CHECKING:
    from auralize.figures.against import Difference
    from auralize.figures.lays import ConductorFigures, LayFigures
    from auralize.figures.numbers import Figures, Line
    from auralize.figures.powers import Driven, Heated


def as_table(title: str, found: Sequence[Figures], compared: Sequence[Difference] = ()) -> str:
    """A comparison of all choices, in words too, then the table over frequency of each."""
    blocks = [title, _comparison(found)]
    if compared:
        blocks.append(as_comparison(compared))
    blocks += [_by_frequency(figures) for figures in found]
    return "\n\n".join(blocks)


def _comparison(found: Sequence[Figures]) -> str:
    rows = [("", *(f.choice for f in found))]
    rows.append(("load listened to", *(f.load for f in found)))
    if any(f.typical for f in found):
        rows.append(("  which is", *("invented" if f.typical else "" for f in found)))
    rows.append(("DC loop resistance, ohm", *(f"{f.dc_loop_ohm:.3f}" for f in found)))
    if any(f.band_hz != WHOLE for f in found):
        rows.append(("judged from", *(show_frequency(f.band_hz[0]) for f in found)))
        rows.append(("  to", *(show_frequency(f.band_hz[1]) for f in found)))
    losses = [decibels_text(f.loss_db) for f in found]
    rows += _at("loss at {}, dB", "loss, dB", losses, [f.reference_hz for f in found])
    rows.append(("largest deviation from that, dB", *(_deviation(f) for f in found)))
    rows.append(("  which is at", *(show_frequency(three_digits(f.deviation_hz)) for f in found)))
    factors = [factor_text(f.damping_factor) for f in found]
    damping = "damping factor at the load"
    rows += _at(f"{damping} ({{}})", damping, factors, [f.damping_hz for f in found])
    rows.append(("programme power lost in cable", *(rounded(f.cable_share, ".1%") for f in found)))
    rows.append(("lowest load on the amplifier, ohm", *(_ohm(f.lowest_ohm) for f in found)))
    rows.append(("  which is at", *(show_frequency(three_digits(f.lowest_hz)) for f in found)))
    return pages(rows)


def _at(
    alike: str, words: str, cells: Sequence[str], hertz: Sequence[float]
) -> list[tuple[str, ...]]:
    """A figure at a frequency: that is in the row's words if ``alike`` for all, else below it."""
    shown = [show_frequency(three_digits(f)) if f > 0.0 else "DC" for f in hertz]
    if len(set(shown)) == 1:
        return [(alike.format(shown[0]), *cells)]
    return [(words, *cells), ("  which is at", *shown)]


def _deviation(figures: Figures) -> str:
    silent = not math.isfinite(figures.loss_db)
    return "silent" if silent else rounded(figures.deviation_db, "+.2f")


def _ohm(value: float) -> str:
    """Two decimals, of which nobody reads those behind five digits."""
    if not math.isfinite(value):
        return "open"
    return f"{value:.2f}" if value < 1e5 else f"{value:.3g}"


def _by_frequency(figures: Figures) -> str:
    runs = [wrapped(line) for line in _way(figures.runs)]
    runs += [_lay(lay) for lay in figures.lays]
    runs += [wrapped(f"{note.rstrip('.')}.") for note in gathered(figures.notes)]
    if figures.typical is not None:
        runs.append(wrapped(typical_text(figures.typical)))
    if figures.lowest_ohm < LOWEST_SAFE:
        runs.append(wrapped(OVERLOAD.format(ohm=figures.lowest_ohm)))
    if figures.driven is not None:
        runs.append(_driven(figures.driven))
    if figures.drop_across != "both":
        runs.append(wrapped(f"The drop is {ACROSS_WORDS[figures.drop_across]}."))
    if figures.loudspeakers:
        runs.append(as_loudspeakers(figures.loudspeakers))
    rows: list[tuple[str, ...]] = [
        ("frequency", "loss", "phase", "drop", "load", "phase", "cable", "cable", "damping")
    ]
    rows.append(("", "dB", "deg", "dB", "ohm", "deg", "ohm", "uH", "factor"))
    rows += [_row(line) for line in figures.lines]
    head = textwrap.fill(f"{figures.choice}: {figures.label}", WIDTH, subsequent_indent="  ")
    return "\n".join([head, *runs, columns(rows)])


def _way(runs: Mapping[str, str]) -> Iterator[str]:
    """The runs on the way; of many that are the same behind each other, one line."""
    for words, same in groupby(runs, key=runs.__getitem__):
        names = list(same)
        if len(names) <= MANY:
            yield from (f"run {name}: {words}" for name in names)
        else:
            yield f"runs {names[0]} to {names[-1]}, each: {words}"


LOWEST_SAFE = 2.0
"""ohm; few amplifiers are rated to drive less (common practice, no source)."""
OVERLOAD = (
    "Caution: the amplifier sees {ohm:.2g} ohm. Its protection will act, or it will be damaged: do not "
    "drive this; find the fault first."
)
HOT = 30.0
"""K of a conductor over the air from which the table says so: what flexible cables are rated for."""
WARM = 5.0
"""K under which heating is not worth a word."""
HOT_JOINT = 5.0
"""W that no plug or terminal bears for long (common practice, no source)."""


def _driven(driven: Driven) -> str:
    """Where the power of the programme goes."""
    lines = [
        f"At {driven.volts:.3g} V of {driven.signal} (crest factor {driven.crest_factor:.2g}) the "
        f"amplifier gives {show(driven.drawn_watts, 'W')}, {show(driven.amplifier_amperes, 'A')} rms, "
        f"{show(driven.peak_amperes, 'A')} peak{_loading(driven)}.",
        f"  peak voltage that the amplifier must give: {show(driven.peak_volts, 'V')}{_peaks(driven)}",
    ]
    if len(driven.loads) <= MANY or any(driven.contacts.values()):  # else the table has them
        lines += [
            f"  load {name}: {show(watts, 'W')}{_burnt(driven.contacts[name], 'terminals')}"
            for name, watts in driven.loads.items()
        ]
    lines += _heats(driven.runs)
    lines += _losses(driven.transformers)
    return "\n".join(map(wrapped, lines))


def _heats(runs: Mapping[str, Heated]) -> Iterator[str]:
    """The runs; of many those that get warm or have joints, and what the others lose together."""
    shown = {
        name: heated
        for name, heated in runs.items()
        if len(runs) <= MANY or heated.joint_watts or not (heated.rise_kelvin or 0.0) < WARM
    }
    yield from (f"  run {name}: {_heated(heated)}" for name, heated in shown.items())
    others = [heated for name, heated in runs.items() if name not in shown]
    if others:
        yield (
            f"  {len(others)} {'other ' if shown else ''}runs: up to "
            f"{show(max(one.amperes for one in others), 'A')}, "
            f"{show(sum(one.watts for one in others), 'W')} lost in their cable together"
        )


def _losses(transformers: Mapping[str, float]) -> Iterator[str]:
    if len(transformers) <= MANY:
        yield from (
            f"  transformer {name}: {show(watts, 'W')} lost" for name, watts in transformers.items()
        )
    else:
        lost = show(sum(transformers.values()), "W")
        yield f"  {len(transformers)} transformers: {lost} lost in them together"


def _loading(driven: Driven) -> str:
    parts = []
    if driven.tapped_watts:
        parts.append(f"the taps add up to {show(driven.tapped_watts, 'W')}")
    if driven.rating_watts is not None:
        parts.append(f"the amplifier is rated {show(driven.rating_watts, 'W')}")
    text = "; " + ", ".join(parts) if parts else ""
    asked = max(driven.tapped_watts, driven.drawn_watts)
    overloaded = driven.rating_watts is not None and asked > driven.rating_watts
    return f"{text}. Caution: that overloads it" if overloaded else text


def _peaks(driven: Driven) -> str:
    """How the peaks stand to the rating, where that is known."""
    if driven.rated_volts is None or driven.peak_over_db is None:
        return ""
    allowed = f"its rating allows {show(driven.rated_volts, 'V')}"
    if driven.peak_over_db <= _ROUNDING:
        return f"; {allowed}"
    over = rounded(driven.peak_over_db, ".1f")
    return f". Caution: {allowed}, and clips peaks that are {over} dB over"


_ROUNDING: Final = 0.05
"""dB under which a tenth of a dB says nothing."""


def _burnt(watts: float, where: str) -> str:
    if watts == 0.0:
        return ""
    text = f", {show(watts, 'W')} in its {where}"
    return f"{text} (Caution: they get hot)" if watts > HOT_JOINT else text


def _heated(heated: Heated) -> str:
    text = (
        f"{show(heated.amperes, 'A')}, {show(heated.watts, 'W')} lost in the cable"
        f"{_burnt(heated.joint_watts, 'joints')}"
    )
    rise = heated.rise_kelvin
    if rise is None:
        return f"{text}; heating not estimated for such a cable"
    if rise < WARM:
        return text
    settles = f"settles some {rise:.0f} K" if math.isfinite(rise) else "does not settle at any heat"
    text += f"; its metal {settles} over the air"
    return f"{text}. {TOO_HOT}" if rise > HOT else text


TOO_HOT = "Caution: too hot for most cables; ask the maker's rating and local codes"


HEAT = (
    "Caution: a coiled cable cannot shed its heat. Unroll it under load; the maker's derating and local "
    "codes govern."
)


def _lay(lay: LayFigures) -> str:
    """What the lay added, and where it is uncertain the range, as one sentence."""
    text = (
        f"lay of {lay.run} ({lay.lay}) adds {lay.added_uh.text('.2f')} uH, "
        f"{lay.added_milliohm.text('.1f')} mohm at 10 kHz; "
        f"{lay.db_10khz.text('+.2f')} dB at 10 kHz, {lay.db_20khz.text('+.2f')} dB at 20 kHz. "
        f"{_each(lay.conductors)}Rendered: {lay.assumption}."
    )
    return wrapped(f"{text} {HEAT}" if lay.coiled else text)


_UNHEARD: Final = 0.2
"""dB; a change of the drop over one conductor that nobody hears (common practice, no source)."""


def _each(conductors: Mapping[str, ConductorFigures]) -> str:
    """What a coil does along plus and along minus; nothing where it is next to nothing."""
    changes = [one.drop_db_10khz for one in conductors.values()]
    if all(max(abs(change.low), abs(change.high)) < _UNHEARD for change in changes):
        return ""
    told: dict[str, list[str]] = {}
    for name, one in conductors.items():
        by = f"{one.times_straight.text('.2f')} times along {{}}, the drop over it changes by "
        told.setdefault(f"{by}{one.drop_db_10khz.text('+.1f')} dB at 10 kHz", []).append(name)
    each = (
        words.format(names[0] if len(names) == 1 else "either conductor")
        for words, names in told.items()
    )
    return f"Inductance is {'; '.join(each)}. "


def _row(line: Line) -> tuple[str, ...]:
    return (
        show_frequency(line.frequency),
        decibels_text(line.loss_db),
        rounded(line.loss_degrees, ".2f"),
        decibels_text(line.drop_db),
        _ohm(line.load_ohm),
        rounded(line.load_degrees, ".1f"),
        rounded(line.cable_ohm, ".3f"),
        rounded(line.cable_uh, ".2f"),
        factor_text(line.damping),
    )
