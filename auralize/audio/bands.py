"""The bands of audio, and the sample rates that carry it."""

from typing import Final

LOWEST_RATE: Final = 8_000
HIGHEST_RATE: Final = 192_000
"""Hz; sample rates that are read, measured, filtered and played."""

# Nominal centre frequencies in Hz of the audio bands, IEC 61260-1 (ISO 266 preferred numbers).
OCTAVES: Final = (31.5, 63.0, 125.0, 250.0, 500.0, 1e3, 2e3, 4e3, 8e3, 16e3)
THIRD_OCTAVES: Final = (
    20.0, 25.0, 31.5, 40.0, 50.0, 63.0, 80.0, 100.0, 125.0, 160.0, 200.0, 250.0, 315.0, 400.0, 500.0,
    630.0, 800.0, 1e3, 1.25e3, 1.6e3, 2e3, 2.5e3, 3.15e3, 4e3, 5e3, 6.3e3, 8e3, 10e3, 12.5e3, 16e3, 20e3,
)  # fmt: skip
