"""Many cases of one rig: its values in steps, or drawn within tolerances, solved together.

In: a rig, and what of it is not settled. Out: the figures of every choice in every case, as arrays.
May import: figures, rig, circuit, outputs, and what is below them; it knows no sound and no screen.
"""
