"""Figures and gains as text: tables for a terminal of 80 columns, JSON, comma-separated values."""

from __future__ import annotations

import csv
import io
import json
import math
import textwrap
from collections.abc import Sequence
from dataclasses import asdict, fields
from typing import TYPE_CHECKING, Any

from auralize.units import rounded, show, show_frequency, show_length

if TYPE_CHECKING:
    from auralize.figures.fit import Fit, Kind, Size
    from auralize.figures.numbers import Driven, Figures, Heated, LayFigures, Line, Spread
    from auralize.render import Gains, Match, Output, Rendered


WIDTH = 80
"""Columns of a terminal."""


def as_table(title: str, found: Sequence[Figures]) -> str:
    """A comparison of all choices, then the table over frequency of each."""
    blocks = [title, _comparison(found)]
    blocks += [_by_frequency(figures) for figures in found]
    return "\n\n".join(blocks)


def _comparison(found: Sequence[Figures]) -> str:
    rows = [("", *(f.choice for f in found))]
    rows.append(("load listened to", *(f.load for f in found)))
    rows.append(("DC loop resistance, ohm", *(f"{f.dc_loop_ohm:.3f}" for f in found)))
    rows.append(("loss at 1 kHz, dB", *(_decibels(f.loss_1khz_db) for f in found)))
    rows.append(("largest deviation from that, dB", *(_deviation(f) for f in found)))
    rows.append(("  which is at", *(show_frequency(_three(f.deviation_hz)) for f in found)))
    rows.append(("damping factor at the load (DC)", *(_factor(f.damping_factor) for f in found)))
    rows.append(
        ("power at 1 kHz that heats cable", *(rounded(f.cable_share, ".1%") for f in found))
    )
    rows.append(("lowest load on the amplifier, ohm", *(_ohm(f.lowest_ohm) for f in found)))
    rows.append(("  which is at", *(show_frequency(_three(f.lowest_hz)) for f in found)))
    return _pages(rows)


def _decibels(level: float) -> str:
    return rounded(level, ".2f") if math.isfinite(level) else "silent"


def _deviation(figures: Figures) -> str:
    silent = not math.isfinite(figures.loss_1khz_db)
    return "silent" if silent else rounded(figures.deviation_db, "+.2f")


def _ohm(value: float) -> str:
    """Two decimals, of which nobody reads those behind five digits."""
    if not math.isfinite(value):
        return "open"
    return f"{value:.2f}" if value < 1e5 else f"{value:.3g}"


def _factor(value: float) -> str:
    return f"{value:.3g}" if math.isfinite(value) else "no limit"


def _three(value: float) -> float:
    """Rounded to three digits: a sweep has no more."""
    return float(f"{value:.3g}")


def _by_frequency(figures: Figures) -> str:
    runs = [_wrapped(f"run {name}: {words}") for name, words in figures.runs.items()]
    runs += [_lay(lay) for lay in figures.lays]
    runs += [_wrapped(f"{note.rstrip('.')}.") for note in figures.notes]
    if figures.lowest_ohm < LOWEST_SAFE:
        runs.append(_wrapped(OVERLOAD.format(ohm=figures.lowest_ohm)))
    if figures.driven is not None:
        runs.append(_driven(figures.driven))
    rows: list[tuple[str, ...]] = [
        ("frequency", "loss", "phase", "drop", "load", "phase", "cable", "cable", "damping")
    ]
    rows.append(("", "dB", "deg", "dB", "ohm", "deg", "ohm", "uH", "factor"))
    rows += [_row(line) for line in figures.lines]
    head = textwrap.fill(f"{figures.choice}: {figures.label}", WIDTH, subsequent_indent="  ")
    return "\n".join([head, *runs, _columns(rows)])


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
        f"  peak voltage that the amplifier must give: {show(driven.peak_volts, 'V')}",
    ]
    for name, watts in driven.loads.items():
        lines.append(
            f"  load {name}: {show(watts, 'W')}{_burnt(driven.contacts[name], 'terminals')}"
        )
    lines += [f"  run {name}: {_heated(heated)}" for name, heated in driven.runs.items()]
    lines += [
        f"  transformer {name}: {show(watts, 'W')} lost"
        for name, watts in driven.transformers.items()
    ]
    return "\n".join(map(_wrapped, lines))


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
        f"lay of {lay.run} ({lay.lay}) adds {_spread(lay.added_uh, '.2f')} uH, "
        f"{_spread(lay.added_milliohm, '.1f')} mohm at 10 kHz; "
        f"{_spread(lay.db_10khz, '+.2f')} dB at 10 kHz, {_spread(lay.db_20khz, '+.2f')} dB at 20 kHz. "
        f"Rendered: {lay.assumption}."
    )
    return _wrapped(f"{text} {HEAT}" if lay.coiled else text)


def _spread(spread: Spread, form: str) -> str:
    low, rendered, high = (rounded(v, form) for v in (spread.low, spread.rendered, spread.high))
    return rendered if low == high else f"{rendered} ({low} to {high})"


def _wrapped(text: str) -> str:
    return textwrap.fill(text, WIDTH, initial_indent="  ", subsequent_indent="    ")


def _row(line: Line) -> tuple[str, ...]:
    return (
        show_frequency(line.frequency),
        _decibels(line.loss_db),
        rounded(line.loss_degrees, ".2f"),
        _decibels(line.drop_db),
        _ohm(line.load_ohm),
        rounded(line.load_degrees, ".1f"),
        rounded(line.cable_ohm, ".3f"),
        rounded(line.cable_uh, ".2f"),
        _factor(line.damping),
    )


def _columns(rows: Sequence[Sequence[str]]) -> str:
    """Rows under each other, the first column to the left and all others to the right."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    lines = []
    for first, *others in rows:
        cells = [cell.rjust(width) for cell, width in zip(others, widths[1:], strict=True)]
        lines.append("  ".join([first.ljust(widths[0]), *cells]).rstrip())
    return "\n".join(lines)


def _pages(rows: Sequence[Sequence[str]]) -> str:
    """`_columns`, with as many of the columns beside the first as the width has room for at a time."""
    count = len(rows[0]) - 1
    for each in range(count, 0, -1):
        pages = [
            _columns([(row[0], *row[at : at + each]) for row in rows])
            for at in range(1, count + 1, each)
        ]
        if all(len(line) <= WIDTH for page in pages for line in page.splitlines()):
            break
    return "\n\n".join(pages)


def as_fits(title: str, found: Sequence[Fit], kind: Kind, tolerance: float) -> str:
    """What length or size would do, a column a choice."""
    words = {
        "loss": "loss",
        "deviation": "deviation from 1 kHz",
        "heat": "share of power in the cable",
    }[kind]
    limit = f"{tolerance * 100:.3g} %" if kind == "heat" else f"{tolerance:.3g} dB"
    rows = [("", *(f.choice for f in found)), ("run", *(f.run for f in found))]
    rows.append((f"{words} now", *(_measured(f.now, kind) for f in found)))
    rows.append(("  which is at", *(_worst(f) for f in found)))
    rows.append(("length now", *(show_length(f.length) for f in found)))
    if any(f.longest is None for f in found):
        rows.append(("  without the run", *(_measured(f.least, kind) for f in found)))
    rows.append(("longest that will do", *(_longest(f.longest) for f in found)))
    rows.append(("thinnest metric size", *(_size(f.metric) for f in found)))
    rows.append(("thinnest even gauge", *(_size(f.gauge) for f in found)))
    head = [title, f"up to {limit} {words}, 20 Hz to 20 kHz", *_explained(found, kind)]
    return "\n".join([*head, "", _pages(rows)])


def _explained(found: Sequence[Fit], kind: Kind) -> list[str]:
    """What the table leaves open."""
    from auralize.rig.cables import ANY_SIZE

    lines = []
    if kind == "heat":
        lines.append("The share is that of all cable and joints together.")
    if any(f.longest is None for f in found):
        lines.append("Where no length will do, the rest of the rig does too much already.")
    if any(f.metric is None for f in found):
        lines.append("A measured cable has no size: describe it by its conductors to fit one.")
    sizes = [size for f in found for size in (f.metric, f.gauge)]
    unlisted = dict.fromkeys(s.thinnest for s in sizes if s is not None and s.unlisted)
    if unlisted:
        text = (
            f"{', '.join(map(str, unlisted))}: by area, as IEC 60228 has no such size in that class; "
            f'in the rig file it needs strands = "{ANY_SIZE}".'
        )
        lines.append(textwrap.fill(text, WIDTH))
    return lines


def _size(size: Size | None) -> str:
    if size is None:
        return "measured"
    if size.largest is None:
        return "none fits"
    return size.thinnest or f"none to {size.largest}"


def _measured(value: float, kind: Kind) -> str:
    if not math.isfinite(value):
        return "silent"
    return rounded(value, ".1%") if kind == "heat" else f"{rounded(value, '.2f')} dB"


def _worst(fit: Fit) -> str:
    return show_frequency(_three(fit.worst)) if math.isfinite(fit.now) else "everywhere"


def _longest(metres: float | None) -> str:
    from auralize.figures.fit import LONGEST

    if metres is None:
        return "none"
    return show_length(metres) if metres < LONGEST else "10 km and more"


def as_json(title: str, found: Sequence[Figures]) -> str:
    """All figures as one JSON object; what is without limit is null."""
    whole = {"title": title, "choices": [_finite(figures.as_dict()) for figures in found]}
    return json.dumps(whole, indent=2, ensure_ascii=False, allow_nan=False)


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {k: _finite(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def as_csv(found: Sequence[Figures]) -> str:
    """The tables over frequency, one row a choice and frequency, with a header.

    What is without limit is left empty.
    """
    from auralize.figures.numbers import Line

    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["choice", *(f.name for f in fields(Line))])
    for figures in found:
        rows = [_finite(asdict(line)).values() for line in figures.lines]
        writer.writerows([figures.choice, *row] for row in rows)
    return text.getvalue()


def as_gains(done: Rendered) -> str:
    """What was written, and every gain that was applied."""
    head = (
        f"{done.source.path.name}: {_decibels(done.source_loudness)} LUFS, "
        f"true peak {_decibels(done.source_true_peak)} dBTP; {_match(done.match)}"
    )
    rows: list[tuple[str, ...]] = [
        ("file", "match", "make-up", "headroom", "gain", "loudness", "peak")
    ]
    rows.append(("", "dB", "dB", "dB", "dB", "LUFS", "dBTP"))
    rows += [
        (o.path.name, *_gains(o.gains), _decibels(o.loudness), _decibels(o.true_peak))
        for o in done.outputs
    ]
    worst = max(output.filter_error for output in done.outputs)
    tail = f"Aligned with the source to the sample; filter errors lie below {worst:.0f} dB of the response."
    clipped = [_clipped(output) for output in done.outputs if output.clipped]
    earlier = ", ".join(path.name for path in done.replaced)
    replaced = [f"Earlier files of these names were replaced: {earlier}."] if earlier else []
    return "\n".join([head, _columns(rows), *_softened(done.softened), *clipped, *replaced, tail])


def _softened(decibels: float) -> list[str]:
    from auralize.render import CEILING

    text = rounded(decibels, ".2f")
    if text == "0.00":
        return []
    return [
        f"The make-up asked for made all files {text} dB softer: no peak may pass {CEILING:g} dBTP."
    ]


def _match(match: Match) -> str:
    if match == "installed":
        return "levels as installed"
    if match == "loudness":
        return "receiving ends matched to the source in loudness"
    return f"receiving ends matched to the source at {show_frequency(float(match))}"


def _gains(gains: Gains) -> tuple[str, ...]:
    return tuple(
        rounded(g, "+.2f") for g in (gains.match, gains.makeup, gains.headroom, gains.total)
    )


def _clipped(output: Output) -> str:
    return f"{output.path.name}: {output.clipped} samples were over full scale and were clipped."
