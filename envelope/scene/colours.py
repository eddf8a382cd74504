"""Colours of the pictures: quiet greys, and a palette that colour-blind readers can tell apart.

Source: M. Okabe and K. Ito, "Color Universal Design: how to make figures and presentations
that are friendly to colorblind people", 2008, the palette of eight colours (as reproduced).
"""

from ..checks.cast import Role
from ..checks.finding import Verdict

Colour = tuple[int, int, int]

BLACK: Colour = (0, 0, 0)
ORANGE: Colour = (230, 159, 0)
SKY_BLUE: Colour = (86, 180, 233)
BLUISH_GREEN: Colour = (0, 158, 115)
YELLOW: Colour = (240, 228, 66)
BLUE: Colour = (0, 114, 178)
VERMILLION: Colour = (213, 94, 0)
REDDISH_PURPLE: Colour = (204, 121, 167)

FIRST = VERMILLION  # the body that moves
SECOND = BLUE  # what it meets
SWEPT = SKY_BLUE  # the room that tool and group take up over the segment
REACHED = BLUISH_GREEN  # what the arm reaches
OVERLAP = YELLOW  # what is in both bodies

PAPER: Colour = (240, 238, 233)
PANE: Colour = (247, 246, 243)
INK: Colour = (38, 36, 33)
QUIET_INK: Colour = (104, 100, 94)
EDGE: Colour = (112, 107, 100)
FLOOR_LINE: Colour = (222, 218, 210)

_ARM: Colour = (196, 199, 204)
_TOOL: Colour = (160, 165, 172)
_CARTON: Colour = (233, 227, 216)
_WOOD: Colour = (214, 204, 186)
_STEEL: Colour = (214, 213, 210)
_GUIDE: Colour = (190, 189, 186)

BY_ROLE: dict[Role, Colour] = {
    "arm": _ARM,
    "tool": _TOOL,
    "lips": _TOOL,
    "carried": _CARTON,
    "placed": _CARTON,
    "own": _CARTON,
    "queue": _CARTON,
    "waiting": _CARTON,
    "pallet": _WOOD,
    "guide": _GUIDE,
    "stop": _GUIDE,
    "conveyor": _STEEL,
    "pedestal": _STEEL,
    "fixed": _STEEL,
}

BY_VERDICT: dict[Verdict, Colour] = {
    "pass": _CARTON,
    "marginal": ORANGE,
    "not checked": REDDISH_PURPLE,
    "fail": VERMILLION,
}

_READABLE = 3.0  # contrast of large letters, after WCAG 2.1, success criterion 1.4.3


def ink_on(ground: Colour) -> Colour:
    """Light letters where they can be read on a ground, else dark ones.

    Source: W3C, "Web Content Accessibility Guidelines 2.1", contrast ratio and relative
    luminance (from memory).
    """
    return PANE if contrast(PANE, ground) >= _READABLE else INK


def contrast(one: Colour, other: Colour) -> float:
    """Contrast ratio of two colours, 1 to 21."""
    darker, lighter = sorted((_luminance(one), _luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: Colour) -> float:
    shares = [value / 255 for value in colour]
    linear = [v / 12.92 if v <= 0.04045 else ((v + 0.055) / 1.055) ** 2.4 for v in shares]
    return sum(w * v for w, v in zip((0.2126, 0.7152, 0.0722), linear, strict=True))
