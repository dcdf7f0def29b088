"""Physics only: pure functions of frequency on NumPy arrays, in SI units; no audio, no files."""
