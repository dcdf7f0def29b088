"""The rig file: one installation and the choices to compare, read and checked into circuits; editing it.

In: TOML, tables of measured data. Out: `Rig` and `Choice`, or one sentence that says what is wrong.
May import: circuit, files, units, errors; it knows no sound.
"""
