"""The three signals of a choice: what is sent, what arrives, and what the cable keeps.

They are one linear family: drop + receiving = sending, at every frequency and in every sample.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

Signal = Literal["receiving", "drop", "sending"]
SIGNALS: Final[tuple[Signal, ...]] = ("receiving", "drop", "sending")
SIGNAL_WORDS: Final[Mapping[Signal, str]] = {
    "receiving": "receiving end",
    "drop": "drop",
    "sending": "sending end",
}
