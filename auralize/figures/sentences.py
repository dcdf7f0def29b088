"""What is to be said of a choice beside its tables, in sentences; and which of them are cautions."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping
from itertools import groupby
from typing import TYPE_CHECKING, Final

from auralize.circuit.signals import ACROSS_WORDS
from auralize.figures.columns import MANY, gathered
from auralize.figures.typical import typical_text
from auralize.rig.loads import FAULTS, REVERSED
from auralize.units import rounded, show

if TYPE_CHECKING:
    from auralize.figures.lays import ConductorFigures, LayFigures
    from auralize.figures.numbers import Figures
    from auralize.figures.powers import Driven, Heated
    from auralize.rig.choice import Choice


def sentences(figures: Figures) -> list[str]:
    """All of it, as the text of the figures has it: not wrapped, what belongs to one before indented."""
    told = list(_way(figures.runs))
    told += [_lay(lay) for lay in figures.lays]
    told += [f"{note.rstrip('.')}." for note in gathered(figures.notes)]
    if figures.typical is not None:
        told.append(typical_text(figures.typical))
    if figures.lowest_ohm < LOWEST_SAFE:
        told.append(OVERLOAD.format(ohm=figures.lowest_ohm))
    if figures.driven is not None:
        told += _driven(figures.driven)
    if figures.drop_across != "both":
        told.append(f"The drop is {ACROSS_WORDS[figures.drop_across]}.")
    return told


_WARNINGS: Final = ("Caution", REVERSED, FAULTS["open"])
"""One of these is in every sentence that warns of something."""


def is_caution(sentence: str) -> bool:
    """Whether a sentence of `sentences` warns: of heat, clipping, overload, a fault, or wrong polarity."""
    return any(words in sentence for words in _WARNINGS)


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


def _driven(driven: Driven) -> list[str]:
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
    return lines


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


def heat(choices: Iterable[Choice]) -> list[str]:
    """What is to be said where a run of any of them is coiled."""
    runs = [run for choice in choices for run in choice.runs.values()]
    return [HEAT] if any(run.lay and run.lay.coiled for run in runs) else []


def _lay(lay: LayFigures) -> str:
    """What the lay added, and where it is uncertain the range, as one sentence."""
    text = (
        f"lay of {lay.run} ({lay.lay}) adds {lay.added_uh.text('.2f')} uH, "
        f"{lay.added_milliohm.text('.1f')} mohm at 10 kHz; "
        f"{lay.db_10khz.text('+.2f')} dB at 10 kHz, {lay.db_20khz.text('+.2f')} dB at 20 kHz. "
        f"{_each(lay.conductors)}Rendered: {lay.assumption}."
    )
    return f"{text} {HEAT}" if lay.coiled else text


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
