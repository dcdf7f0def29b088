"""Every table and key of a rig file: what it takes, its default, an example. The one source of what is
said of them; `tests/rig/test_keys.py` holds it against what the readers ask for.
"""

from __future__ import annotations

from typing import Final, get_args

from auralize.circuit.coil import Packing
from auralize.circuit.lays import CoilPlacing, EightFacing, Facing
from auralize.rig.key import TOP, Key, Section, one_of
from auralize.rig.keys_of_cables import CABLES
from auralize.rig.keys_of_loads import LOADS
from auralize.rig.lays import IRONS, SHAPES

_TOP: Final = (
    Section(
        "",
        "at the top of the file, before any table",
        (
            Key("title", "text", '"the pond"', "stands above all results", "the file's name"),
            Key("listen", "name", '"stage"', "the load that is heard", "the only load", "+"),
        ),
    ),
    Section(
        "[choices.NAME]",
        "a choice to compare: any table and key of the file that differs; a table of another "
        "construction, type or shape starts afresh",
        (
            Key("label", "text", '"in the sun"', "what it is, in words", "its name"),
            Key(
                "runs.NAME.length",
                "as there",
                '"300 ft"',
                "and so on: loads, cables, amplifier; a run that is named must carry a load",
            ),
        ),
    ),
    Section(
        "[amplifier]",
        "what feeds the runs",
        (
            Key("resistance", "resistance", '"20 mohm"', "of its output", "", "+"),
            Key("damping_factor", "number", "400", "in place of resistance, with into", "", "+"),
            Key("into", "resistance", '"8 ohm"', "load that damping_factor and rating refer to"),
            Key("inductance", "inductance", '"1.5 uH"', "of its output coil", "0 H"),
            Key("rating", "power", '"250 W"', "to be held against the programme's peaks"),
        ),
    ),
    Section(
        "[programme]",
        "what it is driven with; without it no watts are told",
        (
            Key("voltage", "voltage", '"10 V"', "rms at the amplifier's terminals", "", "*"),
            one_of("signal", ("pink noise", "sine"), "pink noise", "over all loads' bands"),
            Key("frequency", "frequency", '"1 kHz"', "of a sine", "1 kHz"),
            Key("crest_factor", "number", "4", "of the noise: peak over rms", "4"),
        ),
    ),
)

_RUNS: Final = (
    Section(
        "[runs.NAME]",
        "a stretch of cable",
        (
            Key("cable", "name", '"reel"', "one of [cables.NAME]", "", "*"),
            Key("length", "length", '"62 m"', "one way", "", "*"),
            Key("temperature", "temperature", '"35 degC"', "of the conductors", "20 degC"),
            Key("from", "name", '"path"', "run or transformer that feeds it", "amplifier"),
            Key("near", "resistance", '"8 mohm"', "joint before it, in each conductor", "none"),
            Key(
                "far", "resistance", '"8 mohm"', "after it; { plus = ..., minus = ... } too", "none"
            ),
            Key("lay", "table", '{ shape = "coiled" }', "how it lies: below", "straight"),
        ),
    ),
    Section("[runs.NAME.lay]", "how a run lies", (one_of("shape", SHAPES, "straight"),)),
    Section(
        "[runs.NAME.lay]",
        "coiled: both conductors together",
        (
            Key("mean_diameter", "length", '"40 cm"', "of the coil, or a reel's barrel", "", "+"),
            Key("turns", "number", "32", "or the length that is coiled", "from coiled"),
            Key("coiled", "length", '"30 m"', "length that is coiled", "all"),
            Key("barrel", "length", '"20 cm"', "diameter of a reel, with its width", "", "+"),
            Key("width", "length", '"16 cm"', "of the winding; needed with barrel"),
            one_of("facing", get_args(Facing), "random", "flat sides of a twin"),
            one_of("packing", get_args(Packing), "square", "of the turns"),
            Key("iron", "table", '{ diameter = "60 mm", length = "1 m" }', "in the coil: below"),
        ),
    ),
    Section(
        "[runs.NAME.lay]",
        "split coils: each conductor by itself; the coil of plus as above, and",
        (
            Key("distance", "length", '"60 cm"', "between centres", "", "*"),
            Key("second", "table", '{ mean_diameter = "1 m" }', "coil of minus", "as plus"),
            one_of("arrangement", get_args(CoilPlacing), "side by side"),
            one_of("wound", ("same way", "opposite ways"), "same way"),
        ),
    ),
    Section(
        "[runs.NAME.lay]",
        "figure of eight",
        (
            Key("lobe_length", "length", '"60 cm"', "", "", "*"),
            Key("lobe_width", "length", '"30 cm"', "", "", "*"),
            Key("coiled", "length", '"30 m"', "length that lies so", "all"),
            one_of("facing", get_args(EightFacing), "random"),
        ),
    ),
    Section(
        "[runs.NAME.lay.iron]",
        "a bar or tube in the coil",
        (
            Key("diameter", "length", '"60 mm"', "", "", "*"),
            Key("length", "length", '"1 m"', "", "", "*"),
            Key("wall", "length", '"4 mm"', "of a tube", "solid"),
            one_of("material", IRONS, "mild steel"),
            Key("permeability", "number", "200", "relative", "from material"),
            Key("conductivity", "number", "6e6", "S/m", "from material"),
        ),
    ),
)

_TRANSFORMERS: Final = (
    Section(
        "[transformers.NAME]",
        "a tap of a line (line, tap, secondary) or a step-up (input, output, power)",
        (
            Key("from", "name", '"path"', "run or transformer that feeds it", "amplifier"),
            Key("line", "voltage", '"100 V"', "", "", "+"),
            Key("tap", "power", '"20 W"', "", "", "+"),
            Key("secondary", "resistance", '"8 ohm"', "load that the tap is rated for", "", "+"),
            Key("input", "voltage", '"28.3 V"', "", "", "+"),
            Key("output", "voltage", '"100 V"', "", "", "+"),
            Key("power", "power", '"120 W"', "", "", "+"),
            Key("insertion_loss", "level", '"0.4 dB"', "at its rated power", "1 dB"),
            Key("lowest", "frequency", '"30 Hz"', "", "40 Hz"),
            Key("highest", "frequency", '"20 kHz"', "", "25 kHz"),
        ),
    ),
)

SECTIONS: Final = (*_TOP, *CABLES, *_RUNS, *LOADS, *_TRANSFORMERS)
WORDS: Final = tuple(dict.fromkeys(section.word for section in SECTIONS))
"""What `auralize keys` takes: the first word of every table."""
TOP_KEYS: Final = (*(k.name for k in SECTIONS[0].keys), *(w for w in WORDS if w != TOP))
"""All that may stand at the top of a rig file."""


def declared(place: tuple[str, ...]) -> tuple[Key, ...]:
    """The keys of a table at a dotted path, whatever names stand in it."""
    return tuple(
        key
        for section in SECTIONS
        if len(section.place) == len(place)
        and all(own in (given, "NAME") for own, given in zip(section.place, place, strict=True))
        for key in section.keys
    )


def key_of(table: str, name: str) -> Key:
    """The first key of that name in a table."""
    return next(k for s in SECTIONS if s.table == table for k in s.keys if k.name == name)
