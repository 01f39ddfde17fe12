"""One way to compile a kernel, so that the rest is plain typed Python; the result is kept in the user's cache.

Numba looks only at the file of a function, not at what that function calls, so a changed kernel could leave its callers
stale. The folder of the cache is therefore named by the text of all kernels and the version of Numba.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from pathlib import Path
from typing import ParamSpec, TypeVar, cast

import numba
from numba import njit

P = ParamSpec("P")
R = TypeVar("R")


def _cache_folder() -> str:
    """The folder under the user's cache for exactly these kernels."""
    digest = hashlib.sha256(numba.__version__.encode())
    for path in sorted(Path(__file__).parent.glob("*.py")):
        digest.update(path.read_bytes())
    return str(Path.home() / ".cache" / "firstpull" / "kernels" / digest.hexdigest()[:16])


_SETTINGS = vars(numba.config)
if not _SETTINGS["CACHE_DIR"]:  # what the user set in NUMBA_CACHE_DIR comes first
    _SETTINGS["CACHE_DIR"] = _cache_folder()


def compiled(function: Callable[P, R]) -> Callable[P, R]:
    """The function compiled at its first call and cached; no reordering of sums, so that results do not depend on luck."""
    make = njit(cache=True, fastmath={"contract", "arcp", "nsz"}, error_model="numpy", boundscheck=False)
    return cast(Callable[P, R], make(function))


def inlined(function: Callable[P, R]) -> Callable[P, R]:
    """A small piece of a kernel, put in place where it is called: a call inside a loop would keep it from the lanes.

    It must take and give single numbers only; an array would be counted in and out, which is a call too.
    """
    return cast(Callable[P, R], njit(inline="always")(function))
