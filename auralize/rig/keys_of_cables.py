"""The keys of [cables.NAME]."""

from __future__ import annotations

from typing import Final

from auralize.circuit.cable import SIDES
from auralize.circuit.conductor import MATERIALS
from auralize.rig.cables import CONSTRUCTIONS, DIELECTRICS
from auralize.rig.key import Key, Section, one_of

STRANDS: Final = ("solid", "stranded", "class 1", "class 2", "class 5")

_CONDUCTOR: Final = (
    Key("conductor", "area", '"2.5 mm2"', 'one conductor, or a gauge: "14 AWG"', "", "*"),
    one_of(
        "strands",
        STRANDS,
        "stranded",
        "solid and stranded: by area; a class of IEC 60228: its maximum resistance",
    ),
    Key("fill", "number", "0.75", "metal in the circle round it", "0.75; class 2: 0.78; solid: 1"),
    one_of("material", MATERIALS, "copper"),
    one_of("dielectric", DIELECTRICS, "PVC; single cores: air; coaxial: PE"),
    Key("permittivity", "number", "3.5", "in place of dielectric", "from dielectric"),
    Key("loss_tangent", "number", "0.05", "in place of dielectric", "from dielectric; else 0"),
)
CABLES: Final = (
    Section(
        "[cables.NAME]",
        "how a cable is made",
        (one_of("construction", CONSTRUCTIONS, need="*"),),
    ),
    Section("[cables.NAME]", "all but measured", _CONDUCTOR),
    Section(
        "[cables.NAME]",
        "all but coaxial and measured",
        (
            Key(
                "insulation",
                "length",
                '"0.8 mm"',
                "wall",
                "usual for its size; single cores: 0.8 mm",
            ),
            Key("spacing", "length", '"3.7 mm"', "between centres; single cores need it", "", "+"),
        ),
    ),
    Section(
        "[cables.NAME]",
        "twin, twisted pair, single cores",
        (
            Key("sheath", "length", '"1 mm"', "wall round both; not of single cores", "0 mm"),
            Key("capacitance", "capacitance per length", '"60 pF/m"', "", "from geometry"),
            Key("minus", "area", '"1.5 mm2"', "minus conductor, where it differs", "as conductor"),
            one_of("minus_material", MATERIALS, "as material"),
        ),
    ),
    Section(
        "[cables.NAME]",
        "twisted pair, three-core, four-core",
        (
            Key("lay_length", "length", '"80 mm"', "one turn of the twist", "usual for its size"),
            one_of("doubled", SIDES, "minus", "three-core: which has two cores"),
            one_of(
                "joined", ("opposite cores", "cores side by side"), "opposite cores", "four-core"
            ),
        ),
    ),
    Section(
        "[cables.NAME]",
        "coaxial",
        (
            Key("insulation", "length", '"2 mm"', "wall between conductor and shield", "", "*"),
            Key("shield", "length", '"0.2 mm"', "its thickness", "usual: 0.3 mm"),
            Key("shield_resistance", "resistance per length", '"9 ohm/km"', "at 20 degC", "", "*"),
        ),
    ),
    Section(
        "[cables.NAME]",
        "measured: values of the loop, or a file",
        (
            Key("resistance", "resistance per length", '"14.8 ohm/km"', "", "", "+"),
            Key("inductance", "inductance per length", '"0.65 uH/m"', "beside resistance", "", "+"),
            Key("capacitance", "capacitance per length", '"60 pF/m"', "", "0 pF/m"),
            Key("loss_tangent", "number", "0.05", "", "0"),
            Key("file", "text", '"reel.txt"', "Hz, ohm/m, H/m, F/m; or Touchstone .s2p", "", "+"),
            Key("measured_length", "length", '"10 m"', "needed by .s2p"),
            Key("measured_at", "temperature", '"20 degC"', "", "20 degC"),
            one_of("material", MATERIALS, "copper", "by which it warms"),
        ),
    ),
)
