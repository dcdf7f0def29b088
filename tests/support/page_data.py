"""The data of a page for a rig and a sound, as `auralize handover` puts them into it.

python tests/support/page_data.py RIG SOUND DATA.json [STEPS]
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

from auralize.handover.levels import measure_all, signals
from auralize.handover.options import USUAL, HandoverOptions
from auralize.handover.page_data import PageMaterial, page_data
from auralize.handover.programme import sound_inside
from auralize.outputs import sha256_of
from auralize.renderer.files import Designs
from auralize.renderer.parts import Share
from auralize.renderer.take import Excerpt, Take
from auralize.rig.reading import load_rig
from auralize.rig.stepped import SteppedValue


def made_data(
    rig_file: Path,
    sound: Path,
    options: HandoverOptions = USUAL,
    choices: tuple[str, ...] = (),
) -> dict[str, Any]:
    """Of the region that the options say, or the whole sound."""
    rig = load_rig(rig_file)
    picked = rig.pick(list(choices))
    take = Take.of(sound, Excerpt(options.start or 0.0, options.seconds))
    designs, share = Designs(), Share(lambda done: None, 1, take.frames)
    stepped = options.steps.choices(rig, picked) if options.steps else []
    measured = [
        measure_all(take, signals(take, some, designs), share) for some in (picked, *stepped)
    ]
    inside = sound_inside(take, options.kind)
    sha256 = sha256_of(sound)
    date = str(options.date or "2026-05-01")
    return page_data(
        PageMaterial(rig, picked, take, options, sha256, inside, measured[0], measured[1:], date)
    )


if __name__ == "__main__":
    rig_file, sound, out, *steps = sys.argv[1:]
    asked = HandoverOptions(steps=SteppedValue.of(steps[0])) if steps else USUAL
    data = made_data(Path(rig_file), Path(sound), asked)
    Path(out).write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
