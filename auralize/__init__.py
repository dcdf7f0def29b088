"""Hear what a loudspeaker cable run does to programme material.

The way through: rig file -> circuit -> complex response -> filter -> renderer -> file or loudspeaker.
"""
