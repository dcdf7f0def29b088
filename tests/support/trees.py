"""Frequencies and loads that the tests of trees share."""

from __future__ import annotations

import numpy as np

from auralize.circuit.loudspeaker import Resistor
from auralize.circuit.network import Contact, Run
from auralize.circuit.transformer import make_line_transformer
from support.told_cable import even

FREQUENCY = np.array([1.0, 20.0, 55.0, 300.0, 1e3, 4e3, 10e3, 20e3, 48e3, 100e3])
WITH_DC = np.concatenate([[0.0], FREQUENCY])


def straight(length: float = 30.0, fed_from: str | None = None, **joints: Contact) -> Run:
    cable = even(14.8e-3, 0.65e-6, 60e-12)
    return Run(cable, length, fed_from, **joints)


EIGHT = Resistor(8.0)
# Transformers in a tree.

TAP = make_line_transformer(100.0, 10.0, 8.0, insertion_loss=1.0, low_frequency=20.0)
