"""One way to compile the numeric kernels of this room: kept on disk between runs where that is possible."""

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Compile a kernel that makes no arrays of its own; it runs without holding the interpreter's lock.

    The code is cached beside the source, or in the user's cache folder if the source tree is read-only. Where neither
    can be written, the kernel is compiled anew in each process: slower to start, never an error.

    Notes
    -----
    numba judges cached code by the file of a kernel alone, not by the kernels it calls; so the name under which code
    is cached carries a fingerprint of all sources beside it.
    """
    function.__qualname__ += "_" + _fingerprint(Path(function.__code__.co_filename).parent)
    options: dict[str, Any] = {"nogil": True, "error_model": "numpy", "_nrt": False}
    try:
        return cast(F, numba.njit(cache=True, **options)(function))
    except RuntimeError:  # numba found no folder that it may write to
        return cast(F, numba.njit(**options)(function))


@cache
def _fingerprint(folder: Path) -> str:
    """Short hash of the sources beside a kernel."""
    digest = hashlib.sha256()
    for source in sorted(folder.glob("*.py")):
        digest.update(source.read_bytes())
    return digest.hexdigest()[:12]
