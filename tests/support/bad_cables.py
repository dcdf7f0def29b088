"""Rig files whose cable is spoilt, and what their refusals must say."""

from support.bad_rigs import Bad
from support.rig_text import cable, table, text

BAD_CABLES = {
    # what a cable is
    "no construction": Bad(
        text(cables=cable(construction=None)), "cables.reel.construction", "missing", "'twin'"
    ),
    "unknown construction": Bad(
        text(cables=cable(construction='"twim"')),
        "cables.reel.construction",
        "'twim'",
        "did you mean 'twin'",
    ),
    "unknown material": Bad(
        text(cables=cable(material='"aluminum"')),
        "cables.reel.material",
        "'aluminum'",
        "did you mean 'aluminium'",
    ),
    "unknown strands": Bad(
        text(cables=cable(strands='"class 6"')), "cables.reel.strands", "'class 6'", "'class 5'"
    ),
    "strands as a number": Bad(
        text(cables=cable(strands="5")), "cables.reel.strands", "5", "text in quotes"
    ),
    "size that its class does not have": Bad(
        text(cables=cable(conductor='"14 AWG"', strands='"class 5"')),
        "cables.reel.strands",
        "2.081 mm2",
        'strands = "stranded" takes a gauge',
    ),
    "class 5 aluminium": Bad(
        text(cables=cable(conductor='"16 mm2"', strands='"class 5"', material='"aluminium"')),
        "cables.reel.strands",
        "aluminium",
        "class 5",
    ),
    "fill of a solid conductor": Bad(
        text(cables=cable(strands='"solid"', fill="0.8")),
        "cables.reel.fill",
        "solid",
        "leave it out",
    ),
    "fill of class 1, which is solid": Bad(
        text(cables=cable(strands='"class 1"', fill="0.8")),
        "cables.reel.fill",
        "solid",
        "leave it out",
    ),
    "fill above one": Bad(
        text(cables=cable(fill="1.2")), "cables.reel.fill", "1.2", "from 0.5 to 1"
    ),
    # the geometry of cables
    "conductor missing": Bad(
        text(cables=cable(conductor=None)), "cables.reel.conductor", "missing", "area"
    ),
    "conductor with a decimal comma": Bad(
        text(cables=cable(conductor='"2,5 mm2"')), "cables.reel.conductor", "'2,5 mm2'", "comma"
    ),
    "conductor by diameter": Bad(
        text(cables=cable(conductor='"2.5 mm"')), "cables.reel.conductor", "'2.5 mm'", '"2.5 mm2"'
    ),
    "conductor of no area": Bad(
        text(cables=cable(conductor='"0 mm2"')), "cables.reel.conductor", "'0 mm2'", "0.03 mm2"
    ),
    "conductor like a tree": Bad(
        text(cables=cable(conductor='"1000 mm2"')),
        "cables.reel.conductor",
        "'1000 mm2'",
        "to 120 mm2",
    ),
    "gauge off the table": Bad(
        text(cables=cable(conductor='"99 AWG"')), "cables.reel.conductor", "99 AWG", "40 AWG"
    ),
    "spacing under the diameter": Bad(
        text(cables=cable(spacing='"1 mm"', insulation=None)),
        "cables.reel.spacing",
        "1 mm",
        "more than 2.081 mm",  # 2.5 mm2 at a fill of 0.75 is 2.06 mm across
    ),
    "spacing that touches": Bad(
        text(cables=cable(spacing='"2.06 mm"', insulation=None)),
        "cables.reel.spacing",
        "2.06 mm",
        "more than 2.081 mm",
    ),
    "spacing and insulation": Bad(
        text(cables=cable(spacing='"4 mm"')), "cables.reel.insulation", "'spacing'", "keep one"
    ),
    "insulation of single cores": Bad(
        text(cables=cable(construction='"single cores"')),
        "cables.reel.spacing",
        "missing",
        "length",
    ),
    "negative insulation": Bad(
        text(cables=cable(insulation='"-1 mm"')), "cables.reel.insulation", "'-1 mm'", "0.05 mm"
    ),
    "twist too tight": Bad(
        text(cables=cable(construction='"twisted pair"', lay_length='"6 mm"')),
        "cables.reel.lay_length",
        "6 mm",
        "four times that distance",
    ),
    "dielectric and permittivity": Bad(
        text(cables=cable(dielectric='"PE"', permittivity="2.3")),
        "cables.reel.permittivity",
        "'dielectric'",
        "keep one",
    ),
    "permittivity and capacitance": Bad(
        text(cables=cable(permittivity="2.3", capacitance='"60 pF/m"')),
        "cables.reel.capacitance",
        "'permittivity'",
        "keep one",
    ),
    "permittivity under that of nothing": Bad(
        text(cables=cable(permittivity="0.5")), "cables.reel.permittivity", "0.5", "from 1 to 20"
    ),
    "capacitance of the whole run": Bad(
        text(cables=cable(capacitance='"60 pF"')),
        "cables.reel.capacitance",
        "'60 pF'",
        '"60 pF/m"',
    ),
    "measured without resistance": Bad(
        text(
            cables=table(
                "cables.reel", {}, {"construction": '"measured"', "inductance": '"0.6 uH/m"'}
            )
        ),
        "cables.reel.resistance",
        "missing",
        "resistance per length",
    ),
    "fault in a cable that no run uses": Bad(
        text(cables=cable() + cable("spare", conductor='"2 mm"')),
        "cables.spare.conductor",
        "'2 mm'",
        '"2.5 mm2"',
    ),
}
