"""The squares in the corners of a tray sheet: the black and white modules of an ArUco marker, to draw or to compare."""

from __future__ import annotations

from tilestudy.photo.needs import opencv

Rows = tuple[tuple[bool, ...], ...]
"""Modules of a marker, row by row; True is black. The outer ones are the black border."""


def squares(number: int, dictionary: str = "DICT_5X5_1000") -> Rows:
    """Return the modules of a marker, its border of one black module included.

    Raises
    ------
    TilestudyError
        The extra `photo` is not installed.

    Examples
    --------
    >>> rows = squares(0)
    >>> len(rows), all(rows[0]), sum(not black for row in rows for black in row)
    (7, True, 13)
    """
    cv2 = opencv()
    marks = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, dictionary))
    side = marks.markerSize + 2
    image = cv2.aruco.generateImageMarker(marks, number, side, borderBits=1)
    return tuple(tuple(bool(value < 128) for value in row) for row in image)
