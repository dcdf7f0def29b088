"""SciPy's Fourier transforms without the rest of SciPy, whose import takes longer than a short render.

What transforms there is one compiled module that needs nothing of the packages around it.
"""

from __future__ import annotations

import sys
from importlib.machinery import PathFinder
from importlib.util import find_spec, module_from_spec, spec_from_file_location
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

Complex = NDArray[Any]

_PLACE: Final = "scipy.fft._pocketfft", "pypocketfft"
"""Package and name of that module, in SciPy 1.14 to 1.17."""
_WHOLE, _BY_LENGTH = 0, 2
"""How it can scale: not at all, or by the inverse of the length."""


def _compiled() -> Any:
    """The module alone; None where it is not in its place."""
    package, name = _PLACE
    full = f"{package}.{name}"
    if full in sys.modules:
        return sys.modules[full]
    whole, *inner = package.split(".")
    found = find_spec(whole)
    folders = found.submodule_search_locations if found is not None else None
    places = ["/".join([folder, *inner]) for folder in folders or ()]
    there = PathFinder.find_spec(name, places)
    spec = None if there is None else spec_from_file_location(full, there.origin)
    if spec is None or spec.loader is None:
        return None
    module = module_from_spec(spec)
    sys.modules[full] = module  # SciPy takes this one then: it must not be loaded twice
    spec.loader.exec_module(module)
    return module


_alone: Final = _compiled()


def fft(x: Complex) -> Complex:
    """Along the last axis, in the precision of ``x``, which is complex: what `scipy.fft.fft` gives."""
    if _alone is None:
        from scipy import fft as whole

        return np.asarray(whole.fft(x))
    return np.asarray(_alone.c2c(x, (-1,), True, _WHOLE))


def ifft(x: Complex) -> Complex:
    """Likewise `scipy.fft.ifft`; the result may take the place of ``x``."""
    if _alone is None:
        from scipy import fft as whole

        return np.asarray(whole.ifft(x, overwrite_x=True))
    return np.asarray(_alone.c2c(x, (-1,), False, _BY_LENGTH, x))
