"""A programme through the choices of a rig: sound files to sound files, arrays to arrays.

In: samples and choices. Out: what arrives, what is sent, what the cable keeps, each with its gains.
May import: gains, filters, audio, rig, and what is below them; it knows no device and no screen.
"""
