"""Several shots of one view laid over each other, so that what is translucent stays clean."""

import numpy as np

from ..geometry.frames import Array
from .colours import Colour
from .draw import Image
from .facets import Mask

_DIFFERENT = 6  # of 255: a change of colour larger than this is no rounding


def differs(first: Image, second: Image) -> Mask:
    """Where two shots differ, shape (height, width)."""
    change = np.abs(first.astype(np.int16) - second)
    return np.asarray(change.max(axis=2) > _DIFFERENT)


def vivid(picture: Image) -> Mask:
    """Where a shot has one of the strong colours, lit or in shade; the quiet ones are near grey."""
    high, low = picture.max(axis=2), picture.min(axis=2)
    return np.asarray(high - low > np.float32(0.55) * high)


def mixed(below: Image, above: Image, share: float) -> Image:
    """Two shots mixed: this share of the second."""
    return np.rint(below * (1.0 - share) + above * share).astype(np.uint8)


def tinted(below: Image, where: Mask, colour: Colour, share: float) -> Image:
    """A shot with an area tinted."""
    tint = np.rint(below * (1.0 - share) + np.array(colour) * share).astype(np.uint8)
    return np.where(where[..., None], tint, below)


def outlined(below: Image, area: Mask, colour: Colour, share: float = 0.8) -> Image:
    """A shot with the outline of an area, two pixels wide."""
    grown = np.pad(area, 1)
    shrunk = grown[:-2, 1:-1] & grown[2:, 1:-1] & grown[1:-1, :-2] & grown[1:-1, 2:] & area
    return tinted(below, area & ~shrunk, colour, share)


def shadow(points: Array, size: tuple[int, int]) -> Mask:
    """What the convex hull of points, shape (n, 2) [px], covers of a picture of that size."""
    from PIL import Image as Pictures
    from PIL import ImageDraw
    from scipy.spatial import ConvexHull, QhullError

    area = Pictures.new("1", size)
    try:
        corners = points[ConvexHull(points).vertices]
    except QhullError:  # seen edge-on
        return np.asarray(area, dtype=bool)
    ImageDraw.Draw(area).polygon([(float(x), float(y)) for x, y in corners], fill=1)
    return np.array(area, dtype=bool)
