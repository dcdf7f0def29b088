"""From a complex response to a filter, with the error that was measured on it; and to files of filters.

In: a network, or a function of frequency in Hz. Out: taps or second-order sections.
May import: circuit, rig, audio, and what is below them.
"""
