"""The keys of [loads.NAME]."""

from __future__ import annotations

from typing import Final

from auralize.circuit.typical import KINDS
from auralize.rig.key import Key, Section, one_of
from auralize.rig.loads import TYPES

_DRIVER: Final = (
    Key("Re", "resistance", '"5.6 ohm"', "of the voice coil at DC", "", "*"),
    Key("fs", "frequency", '"38 Hz"', "resonance in free air", "", "*"),
    Key("Qms", "number", "4.2", "", "", "*"),
    Key("Qes", "number", "0.42", "", "", "*"),
    Key("Le", "inductance", '"0.35 mH"', "", "0 H"),
    Key("semi_inductance", "semi-inductance", '"8 msH"', "", "0 sH"),
    Key("L2", "inductance", '"0.5 mH"', "with R2 across it", "0 H"),
    Key("R2", "resistance", '"3 ohm"', "beside L2", "0 ohm"),
    Key("Vas", "volume", '"95 l"', "beside box"),
    Key("box", "volume", '"60 l"', "closed, or vented with tuning", "free air"),
    Key("tuning", "frequency", '"44 Hz"', "of the vent", "closed"),
    Key("leakage_Q", "number", "7", "of a vented box", "7"),
    Key("coil_temperature", "temperature", '"150 degC"', "", "20 degC"),
)
LOADS: Final = (
    Section(
        "[loads.NAME]",
        "a loudspeaker, all types (open and short are faults)",
        (
            one_of("type", TYPES, need="*"),
            Key("at", "name", '"pond"', "run, transformer or amplifier", "the only run", "+"),
            Key("nominal", "resistance", '"8 ohm"', "rated impedance; all but resistors", "", "*"),
            Key("contact", "resistance", '"8 mohm"', "of its terminals, as far", "none"),
            Key("series", "whole number", "2", "how many in series", "1"),
            Key("parallel", "whole number", "2", "how many side by side", "1"),
            Key("reversed", "true or false", "true", "plus and minus swapped", "false"),
            Key("band", "text", '"30 Hz to 120 Hz"', "it plays this", "20 Hz to 20 kHz"),
        ),
    ),
    Section(
        "[loads.NAME]",
        "resistor",
        (Key("resistance", "resistance", '"8 ohm"', "", "", "*"),),
    ),
    Section("[loads.NAME]", "driver: a moving coil", _DRIVER),
    Section(
        "[loads.NAME]",
        "typical: of which no more is known than its kind; invented, and said so",
        (one_of("kind", KINDS, words="what sort of loudspeaker", need="*"),),
    ),
    Section(
        "[loads.NAME]",
        "a load that is like another, or a line of many",
        (
            Key("like", "name", '"stage"', "another load; what is said here is laid on it"),
            Key("count", "whole number", "20", "how many, one after another"),
            Key("spacing", "length", '"4 m"', "cable from one to the next; beside count"),
            Key("along", "name", '"ceiling"', "run that leads to the first; beside count"),
            Key("through", "name", '"tap"', "transformer that each has", "none"),
        ),
    ),
    Section(
        "[loads.NAME]",
        "measured: Hz, ohm, degrees, or Touchstone .s1p",
        (
            Key("file", "text", '"stage.txt"', "in the rig's folder or below", "", "*"),
            Key("dc_resistance", "resistance", '"5.6 ohm"', "", "from the file"),
        ),
    ),
    Section(
        "[loads.NAME.ways]",
        "crossover, as it is wired from the terminals to each driver; + behind, | beside, a second "
        "value is the part's own resistance",
        (
            Key(
                "NAME",
                "list",
                '["series 0.9 mH 0.3 ohm", "shunt 6.8 ohm + 12 uF", "to woofer"]',
                "parts in series or shunt, then to a driver",
                "",
                "*",
            ),
        ),
    ),
    Section(
        "[loads.NAME.drivers.NAME]",
        "its drivers: resistance alone, or the keys of a driver",
        (Key("resistance", "resistance", '"8 ohm"', "in place of those", "", "+"),),
    ),
)
