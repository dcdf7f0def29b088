"""The frequencies at which figures are stated."""

from typing import Final

import numpy as np

REFERENCE: Final = 1000.0
"""Hz at which loss, deviation and the power share are stated."""
SWEEP: Final = np.geomspace(20.0, 20_000.0, 601)
"""Hz; 200 a decade: a driver's peak of Q 10 is cut by less than 0.06 dB, its loss by far less."""
