"""One way to compile the numeric kernels: kept on disk between runs where that is possible."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from functools import cache
from pathlib import Path
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F, *, allocates: bool = False) -> F:
    """Compile a kernel to machine code at its first call; it runs without holding the interpreter's lock.

    The code is cached beside the source, or in the user's cache folder if the source tree is read-only. Where neither
    can be written, the kernel is compiled anew in each process: slower to start, never an error.

    Parameters
    ----------
    function : a function of arrays, numbers and named tuples of arrays
    allocates : whether it makes arrays itself. One that does not is compiled without counting references, and into its
        callers: with tuples of many arrays, counting took four fifths of the time, and of the rest passing them half.

    Notes
    -----
    numba looks only at the file of a kernel to judge whether its cached code is stale, not at the kernels it calls nor
    at the tuples it is given; after an update, stale code would read the wrong memory. So the name under which code is
    cached carries a fingerprint of all sources that a kernel can depend on.

    Several cores are used by plain threads that each call a kernel. numba's own thread pools either end the process
    when two threads of a web server meet in them, or forbid it to fork.
    """
    function.__qualname__ += "_" + _fingerprint(Path(function.__code__.co_filename).parents[1])
    options: dict[str, Any] = {"nogil": True, "error_model": "numpy", "_nrt": allocates, "forceinline": not allocates}
    try:
        return cast(F, numba.njit(cache=True, **options)(function))
    except RuntimeError:  # numba found no folder that it may write to
        return cast(F, numba.njit(**options)(function))


def compiled_allocating(function: F) -> F:
    """The same for a kernel that makes arrays of its own."""
    return compiled(function, allocates=True)


@cache
def _fingerprint(app: Path) -> str:
    """Short hash of the computing cores of an app, whose kernels may call one another, and of this file."""
    digest = hashlib.sha256()
    for source in [*sorted(app.glob("*/*.py")), Path(__file__)]:
        digest.update(source.read_bytes())
    return digest.hexdigest()[:12]
