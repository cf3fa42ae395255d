"""How kernels are compiled: serial, without the interpreter's lock, and kept for the next start.

Only modules whose name ends in ``_kernels`` import this one, and they are imported inside the functions that need
them: Numba takes about a second to import.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar, cast

F = TypeVar("F", bound=Callable[..., Any])


def _choose_cache_folder() -> None:
    """Keep compiled code in the user's cache folder where the package's own folder cannot be written."""
    if "NUMBA_CACHE_DIR" not in os.environ and not os.access(Path(__file__).parent, os.W_OK):
        from platformdirs import user_cache_dir

        os.environ["NUMBA_CACHE_DIR"] = str(Path(user_cache_dir("pulsewright")) / "compiled")


_choose_cache_folder()


def is_compiled(module: str) -> bool:
    """Return whether compiled code of a kernel module, for example ``pulse_kernels``, is kept from an earlier start.

    Parameters
    ----------
    module : str
        Name of the module, without its package.
    """
    folder = Path(os.environ.get("NUMBA_CACHE_DIR") or Path(__file__).parent / "__pycache__")
    return any(folder.rglob(f"{module}.*.nbi"))


def kernel(function: F) -> F:
    """Return the function compiled on its first call: serial, ``nogil``, cached on disk.

    Parameters
    ----------
    function : callable
        In the part of Python that Numba compiles.
    """
    import numba

    return cast("F", numba.njit(nogil=True, cache=True)(function))


def summing_kernel(function: F) -> F:
    """Return the function compiled like `kernel`, its sums in whatever order the processor adds fastest.

    Only for sums of one trace each: their order depends on the machine, but not on blocks or on the number of threads.

    Parameters
    ----------
    function : callable
        In the part of Python that Numba compiles.
    """
    import numba

    return cast("F", numba.njit(nogil=True, cache=True, fastmath={"reassoc", "contract", "nsz"})(function))
