"""What is handed over: a folder with a page that plays, a set of sound files, and all that is to be said.

In: a rig, its choices, a sound file. Out: one folder, whole or not there.
May import: renderer, trials, figures, and what is below them; it knows no device and no screen.
"""
