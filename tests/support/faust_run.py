"""Faust text compiled by `faust` and `cc`, and called from here sample by sample."""

from __future__ import annotations

import ctypes
import os
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

Array = NDArray[np.float64]
CONTROLS = {
    "choice": "choice",
    "hear": "hear",
    "matched": "matched in loudness",
    "makeup": "drop make-up, dB",
}
"""Labels of the controls; Faust leaves out one that does nothing."""
# What `faust -lang c` leaves to whoever calls it; functions of the interface as in faust/gui/CInterface.h.
_AROUND = """
#include <stdlib.h>
#include "faust/gui/CInterface.h"
#define max(a, b) ((a) < (b) ? (b) : (a))
#include "made.c"
static FAUSTFLOAT *zones[64];
static const char *labels[64];
static int count;
static void box(void *ui, const char *label) {}
static void closed(void *ui) {}
static void button(void *ui, const char *label, FAUSTFLOAT *zone) {
    labels[count] = label;
    zones[count++] = zone;
}
static void slider(void *ui, const char *label, FAUSTFLOAT *zone, FAUSTFLOAT init, FAUSTFLOAT least,
    FAUSTFLOAT most, FAUSTFLOAT step) { button(ui, label, zone); }
static void declared(void *ui, FAUSTFLOAT *zone, const char *key, const char *value) {}
void *opened(int rate) {
    UIGlue glue = {0};
    mydsp *dsp = newmydsp();
    glue.openTabBox = glue.openHorizontalBox = glue.openVerticalBox = box;
    glue.closeBox = closed;
    glue.addButton = glue.addCheckButton = button;
    glue.addVerticalSlider = glue.addHorizontalSlider = glue.addNumEntry = slider;
    glue.declare = declared;
    initmydsp(dsp, rate);
    count = 0;
    buildUserInterfacemydsp(dsp, &glue);
    return dsp;
}
void set(int control, double value) { *zones[control] = value; }
double get(int control) { return *zones[control]; }
const char *label(int control) { return labels[control]; }
int controls(void) { return count; }
void run(void *dsp, int frames, FAUSTFLOAT **in, FAUSTFLOAT **out) { computemydsp(dsp, frames, in, out); }
void closed_down(void *dsp) { deletemydsp(dsp); }
"""


def needed(*programs: str) -> None:
    """Skip where one of them is not installed, unless the environment requires them."""
    missing = [name for name in programs if shutil.which(name) is None]
    if missing and os.environ.get("AURALIZE_FAUST") != "required":
        names = "faust g++ lv2-dev libboost-dev sordi"
        pytest.skip(f"{missing[0]} is not installed; 'apt install {names}' makes this check run")
    assert not missing


class Compiled:
    """A processor made from a text, with doubles at its ends; ``precision`` is that inside."""

    def __init__(self, text: str, folder: Path, precision: str = "double") -> None:
        needed("faust", "cc")
        folder.mkdir(parents=True, exist_ok=True)
        (folder / "made.dsp").write_text(text, encoding="utf-8")
        (folder / "around.c").write_text(_AROUND, encoding="utf-8")
        ran("faust", f"-{precision}", "-lang", "c", "made.dsp", "-o", "made.c", cwd=folder)
        ran("cc", "-O1", "-w", "-shared", "-fPIC", "-DFAUSTFLOAT=double",
            "around.c", "-o", "made.so", "-lm", cwd=folder)  # fmt: skip
        self._code = ctypes.CDLL(str(folder / "made.so"))
        self._code.opened.restype = ctypes.c_void_p
        self._code.get.restype = ctypes.c_double
        self._code.label.restype = ctypes.c_char_p

    def starts(self) -> dict[str, float]:
        """What the controls begin with, by label."""
        dsp = ctypes.c_void_p(self._code.opened(48_000))
        values = {label: self._code.get(number) for label, number in self._controls().items()}
        self._code.closed_down(dsp)
        return values

    def _controls(self) -> dict[str, int]:
        every = range(self._code.controls())
        return {self._code.label(number).decode(): number for number in every}

    def run(self, rate: int, pieces: Sequence[tuple[Mapping[str, float], Array]]) -> Array:
        """Two channels in, (frames, 2), and out again, in pieces before which controls are set."""
        dsp = ctypes.c_void_p(self._code.opened(rate))
        found, numbers = [], self._controls()
        for controls, sound in pieces:
            for name, value in controls.items():
                self._code.set(numbers[CONTROLS[name]], ctypes.c_double(value))
            heard, made = np.ascontiguousarray(sound.T), np.zeros(sound.T.shape)
            self._code.run(dsp, len(sound), _rows(heard), _rows(made))
            found.append(made.T)
        self._code.closed_down(dsp)
        return np.concatenate(found)


def _rows(array: Array) -> ctypes.Array[ctypes.c_void_p]:
    return (ctypes.c_void_p * len(array))(*(row.ctypes.data for row in array))


def ran(*command: str, cwd: Path, **environment: str) -> str:
    """Its standard output; a run that fails fails the test, with what it said."""
    done = subprocess.run(
        command, cwd=cwd, env={**os.environ, **environment}, capture_output=True, text=True,
        check=False, timeout=120,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout
