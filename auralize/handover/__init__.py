"""What is handed over: a page that plays, and a set of sound files with a track, a cue sheet and a text.

In: a sound, choices and what was asked for. Out: a folder, whole or not at all.
May import: renderer, trials, and what is below them; it knows no device and no screen.
"""
