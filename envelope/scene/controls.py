"""The window's flat part: texts in the corners, sliders, switches, the strip of verdicts."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ..checks.finding import Verdict
from .colours import BY_VERDICT, EDGE, INK, PANE, QUIET_INK, Colour
from .readout import SIZE

_LEFT, _RIGHT = 0.275, 0.975  # where the sliders begin and end, as shares of the window
_ORDER, _CYCLE = 0.108, 0.042  # their heights
_STRIP = 0.135  # foot of the strip of verdicts
_TALL: dict[Verdict, float] = {
    "fail": 0.022,
    "marginal": 0.015,
    "not checked": 0.010,
    "pass": 0.005,
}
_BOX = 20  # [px]: a switch
_ROW = 30  # [px]: from one switch to the next


class Corner:
    """A text in a corner of the window, on a plain ground.

    Args:
        plotter: The plotter of the drawing library.
        at: Where it is held, as shares of the window, x to the right, y up.
        side: "Left" or "Right": which of its sides is held there.
        top: Whether its top is held there, or its foot.
        below: How far below that it begins [px].
        size: Height of its letters [px].
        face: Name of the font.
    """

    def __init__(
        self,
        plotter: Any,
        at: tuple[float, float],
        side: str,
        *,
        top: bool,
        below: int = 0,
        size: int = SIZE,
        face: str = "DejaVuSans",
    ) -> None:
        import matplotlib
        from vtkmodules.vtkRenderingCore import vtkCoordinate, vtkTextActor

        self._actor = vtkTextActor()
        self._text = ""
        self._held = held = vtkCoordinate()
        held.SetCoordinateSystemToNormalizedViewport()
        held.SetValue(*at)
        place = self._actor.GetPositionCoordinate()
        place.SetCoordinateSystemToViewport()
        place.SetReferenceCoordinate(held)
        place.SetValue(0.0, -float(below))  # its ground begins there too, and covers nothing above
        look = self._actor.GetTextProperty()
        font = Path(matplotlib.get_data_path()) / "fonts" / "ttf" / f"{face}.ttf"
        look.SetFontFamily(4)  # from a file
        look.SetFontFile(str(font))
        look.SetFontSize(size)
        look.SetLineSpacing(1.25)
        look.SetColor(*_shares(INK))
        look.SetBackgroundColor(*_shares(PANE))
        look.SetBackgroundOpacity(0.85)
        getattr(look, f"SetJustificationTo{side}")()
        (look.SetVerticalJustificationToTop if top else look.SetVerticalJustificationToBottom)()
        plotter.renderer.AddViewProp(self._actor)

    @property
    def text(self) -> str:
        """What it says."""
        return self._text

    def ground(self, colour: Colour, ink: Colour) -> None:
        """Change the colours of ground and letters."""
        look = self._actor.GetTextProperty()
        look.SetBackgroundColor(*_shares(colour))
        look.SetBackgroundOpacity(1.0)
        look.SetColor(*_shares(ink))

    def at_pixels(self, x: float, y: float) -> None:
        """Stand at a place counted from the lower left corner of the window [px]."""
        self._held.SetCoordinateSystemToDisplay()
        self._held.SetValue(x, y)

    def say(self, lines: Sequence[str]) -> None:
        """Say something else; nothing for no lines."""
        self._text = "\n".join(lines)
        # without a blank on both sides letters touch the edge of the ground
        self._actor.SetInput("\n".join(f" {line} " for line in lines))
        self._actor.SetVisibility(bool(lines))


class Sliders:
    """One slider through the order and one through the cycle.

    Args:
        plotter: The plotter of the drawing library.
        count: How many placements there are.
        to: Called with the index of the placement that is slid to.
        at: Called with the instant that is slid to [s].
    """

    def __init__(
        self,
        plotter: Any,
        count: int,
        to: Callable[[int], None],
        at: Callable[[float], None],
    ) -> None:
        self._plotter = plotter
        last = max(count, 2)

        self._ready = False

        def order(value: float) -> None:
            if self._ready:  # it is called once when it is made
                to(min(round(value), count) - 1)

        def cycle(value: float) -> None:
            if self._ready:
                at(value)

        self._order = self._slider(order, (1.0, float(last)), _ORDER)
        self._cycle = self._slider(cycle, (0.0, 1.0), _CYCLE)
        self._ready = True
        for text, height in (("order", _ORDER), ("cycle", _CYCLE)):
            Corner(plotter, (_LEFT - 0.005, height - 0.014), "Right", top=False).say([text])
        self._strip: Any = None
        self._count = count

    def show(self, index: int, instant: float, seconds: float) -> None:
        """Put the knobs where they belong."""
        self._order.GetRepresentation().SetValue(index + 1.0)
        knob = self._cycle.GetRepresentation()
        knob.SetMaximumValue(max(seconds, 1e-3))
        knob.SetValue(instant)
        if bool(self._cycle.GetEnabled()) != (seconds > 0.0):
            self._cycle.SetEnabled(int(seconds > 0.0))

    def verdicts(self, found: Sequence[Verdict | None]) -> None:
        """Draw a bar over the order slider for each placement: the worse, the taller."""
        import pyvista as pv
        from vtkmodules.vtkRenderingCore import vtkActor2D, vtkCoordinate, vtkPolyDataMapper2D

        if self._strip is None:
            mapper, self._strip = vtkPolyDataMapper2D(), vtkActor2D()
            place = vtkCoordinate()
            place.SetCoordinateSystemToNormalizedViewport()
            mapper.SetTransformCoordinate(place)
            self._strip.SetMapper(mapper)
            self._plotter.renderer.AddViewProp(self._strip)
        bars: list[tuple[int, Verdict]] = [(k, v) for k, v in enumerate(found) if v is not None]
        self._strip.SetVisibility(bool(bars))
        if not bars:
            return
        step = (_RIGHT - _LEFT - 0.02) / max(self._count - 1, 1)
        wide = min(step * 0.35, 0.004)
        corners: list[tuple[float, float, float]] = []
        for k, verdict in bars:
            x, top = _LEFT + 0.01 + k * step, _STRIP + _TALL[verdict]
            corners += [(x - wide, _STRIP, 0), (x + wide, _STRIP, 0), (x + wide, top, 0)]
            corners += [(x - wide, top, 0)]
        faces = np.column_stack([np.full(len(bars), 4), np.arange(4 * len(bars)).reshape(-1, 4)])
        mesh = pv.PolyData(np.array(corners), faces.ravel())
        quiet: dict[Verdict, Colour] = {**BY_VERDICT, "pass": EDGE}
        mesh.cell_data["colour"] = np.array([quiet[v] for _, v in bars], dtype=np.uint8)
        mesh.set_active_scalars("colour", preference="cell")
        self._strip.GetMapper().SetInputData(mesh)

    def _slider(
        self, moved: Callable[[float], None], span: tuple[float, float], height: float
    ) -> Any:
        slider = self._plotter.add_slider_widget(
            moved, span, value=span[0], title="", pointa=(_LEFT, height), pointb=(_RIGHT, height),
            color=_shares(INK), interaction_event="always", slider_width=0.022, tube_width=0.006,
            style="modern",
        )  # fmt: skip
        look = slider.GetRepresentation()
        look.ShowSliderLabelOff()
        look.SetSliderLength(0.012)
        look.SetSliderWidth(0.028)
        look.SetTubeWidth(0.004)
        look.SetEndCapLength(0.0)
        look.GetTubeProperty().SetColor(*_shares(QUIET_INK))
        look.GetSliderProperty().SetColor(*_shares(INK))
        look.GetSelectedProperty().SetColor(*_shares(INK))
        return slider


class Switches:
    """Boxes to be ticked, one over the other in the corner at the left below.

    Args:
        plotter: The plotter of the drawing library.
        switches: What each is called, whether it is on, and what is called when it changes.
    """

    def __init__(
        self, plotter: Any, switches: Sequence[tuple[str, bool, Callable[[bool], None]]]
    ) -> None:
        self._boxes: list[Any] = []
        for row, (text, on, changed) in enumerate(reversed(switches)):
            y = 14 + row * _ROW
            box = plotter.add_checkbox_button_widget(
                changed, value=on, position=(14.0, float(y)), size=_BOX, border_size=3,
                color_on=_shares(INK), color_off=_shares(PANE), background_color=_shares(PANE),
            )  # fmt: skip
            self._boxes.append(box)
            self._label(plotter, text, y)
        self._boxes.reverse()

    def flip(self, number: int) -> bool:
        """Tick or untick a box from elsewhere; returns whether it is on now."""
        look = self._boxes[number].GetRepresentation()
        look.SetState(1 - look.GetState())
        return bool(look.GetState())

    @staticmethod
    def _label(plotter: Any, text: str, y: int) -> None:
        label = Corner(plotter, (0.0, 0.0), "Left", top=False)
        label.say([text])
        label.at_pixels(14 + _BOX + 8, y - 1)


def _shares(colour: Colour) -> tuple[float, float, float]:
    return colour[0] / 255, colour[1] / 255, colour[2] / 255
