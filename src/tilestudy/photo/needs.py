"""The library that reads and warps pictures, loaded when it is first needed; a plain word when it is missing."""

from __future__ import annotations

from functools import cache
from types import ModuleType

from tilestudy.errors import TilestudyError


@cache
def opencv() -> ModuleType:
    """Return the module `cv2`, loaded on first use.

    Raises
    ------
    TilestudyError
        When it is not installed, with what to type.
    """
    try:
        import cv2
    except ImportError:
        raise TilestudyError(
            "Measuring photos needs the library opencv, which is not installed. "
            'Install it with: pip install "tilestudy[photo]"'
        ) from None
    return cv2
