"""What follows from a rig in numbers: as text, as data, as a picture; what length or size would do.

In: choices of a rig. Out: records in the units that people ask in.
May import: rig, circuit, and what is below them; it knows no sound.
"""
