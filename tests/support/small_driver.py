"""A small loudspeaker, as many of which hang on one line."""

SMALL_DRIVER = {
    "type": "driver", "nominal": "8 ohm", "Re": "6 ohm", "fs": "90 Hz", "Qms": 3.0, "Qes": 1.0,
}  # fmt: skip
THIN = {"construction": "twin", "conductor": "1.5 mm2", "insulation": "0.7 mm"}
