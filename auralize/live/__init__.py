"""Listening live: place in the programme, switching, gains as they become known, the device.

In: a sound file and choices. Out: blocks for the audio device, events and a status for a screen.
May import: gains, filters, audio, rig, and what is below them; only `device` talks to PortAudio.
"""
