"""Sound files in and out, the block convolver, loudness, true peak and spectrum.

In: paths and arrays (frames, channels) of full scale 1.0. Out: the same, and levels in LUFS, dBTP, dB.
May import: files, units, errors; it knows no cable and no screen.
"""
