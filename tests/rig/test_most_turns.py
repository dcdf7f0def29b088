"""Coils of more turns than can be solved are refused at once; the harness of spoilt files found them."""

from __future__ import annotations

from typing import Any

import pytest

from auralize.errors import RigError
from auralize.rig.reading import read_rig


@pytest.mark.parametrize(
    "lay",
    [
        {"shape": "coiled", "mean_diameter": "16 cm"},
        {"shape": "split coils", "mean_diameter": "16 cm", "distance": "1 m"},
        {"shape": "split coils", "mean_diameter": "5 m", "distance": "1 m", "second": "small"},
    ],
)
def test_six_kilometres_on_a_small_reel(lay: dict[str, Any]) -> None:
    """6.2 km at 16 cm are 12 335 turns: more than are summed."""
    if "second" in lay:
        lay = lay | {"second": {"mean_diameter": "16 cm"}}
    rig = {
        "amplifier": {"resistance": "20 mohm"},
        "cables": {"twin": {"construction": "twin", "conductor": "2.5 mm2", "insulation": "1 mm"}},
        "runs": {"pond": {"cable": "twin", "length": "6200 m", "lay": lay}},
        "loads": {"stage": {"type": "resistor", "resistance": "8 ohm"}},
    }
    with pytest.raises(
        RigError,
        match=r"runs\.pond\.lay.* makes 1[12],\d\d\d turns; right is a length that makes 10,000",
    ):
        read_rig(rig)
