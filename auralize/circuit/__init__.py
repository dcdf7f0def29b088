"""The physics: conductors, cables and how they lie, loudspeakers, and the installation solved.

In: geometry and materials in SI units, frequency in Hz as arrays. Out: ohm, S, voltages per volt, W.
May import: units; it knows no rig file, no sound and no screen.
"""
