"""Fixtures of the tests in this folder."""

import numpy as np
import pytest

from auralize.live.programme import Programme
from auralize.live.transport import Transport
from auralize.rig.reading import load_rig
from support.live_session import RIG, make_programme
from support.pumped import RATE, Pumped, settled, write


@pytest.fixture
def transport(tmp_path):
    """Two seconds of a constant 1, so that what is played is the fades themselves."""
    programme = Programme(write(tmp_path / "ones.wav", np.ones((2 * RATE, 1))))
    transport = Transport(programme)
    settled(transport)
    yield transport
    transport.close()


@pytest.fixture(scope="module")
def saltmarsh():
    return load_rig(RIG).choices


@pytest.fixture(scope="module")
def programme(tmp_path_factory):
    path = tmp_path_factory.mktemp("programme") / "programme.wav"
    make_programme(path, seconds=3.0)
    return path


@pytest.fixture
def pumped(programme, saltmarsh):
    pumped = Pumped(programme, saltmarsh, journal=True)
    yield pumped
    pumped.close()


@pytest.fixture
def measured(pumped):
    pumped.measured()
    return pumped
