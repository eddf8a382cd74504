"""Loads the drawing library without what it loads beside it and is not used here.

Half of the time the library takes to load goes to a plotting library for charts, which neither the
window nor any picture shows. A window that takes long to open is not opened often.
"""

import sys
from collections.abc import Generator
from contextlib import contextmanager
from importlib import import_module
from types import ModuleType
from typing import Any

_PLOTS, _AGG = "matplotlib.pyplot", "matplotlib.backends.backend_agg"


def load_library() -> None:
    """Load the drawing library: it loads most of itself when it is first used."""
    with _put_off():
        from pyvista import Plotter  # noqa: F401  # pyright: ignore[reportUnusedImport]


@contextmanager
def _put_off() -> Generator[None]:
    """Within, charts are imported in name; they are loaded when one is really drawn."""
    stood_in: list[str] = []
    for name, names in ((_PLOTS, ()), (_AGG, ("FigureCanvasAgg",))):
        if name not in sys.modules:
            sys.modules[name] = _stand_in(name, names)
            stood_in.append(name)
    try:
        yield
    finally:
        for name in stood_in:  # whoever imports it from now on gets the real one
            if isinstance(sys.modules.get(name), _StandIn):
                del sys.modules[name]


class _StandIn(ModuleType):
    """A module that is loaded when something in it is asked for."""

    def __getattr__(self, name: str) -> Any:
        if name.startswith("__"):  # the import system asks for its own
            raise AttributeError(name)
        return getattr(_real(self.__name__), name)


def _stand_in(name: str, called: tuple[str, ...]) -> ModuleType:
    """A module not loaded yet; what is in it to be called is loaded when it is called."""
    module = _StandIn(name)
    for each in called:
        setattr(module, each, _later(name, each))
    return module


def _later(module: str, name: str) -> Any:
    def call(*arguments: Any, **named: Any) -> Any:
        return getattr(_real(module), name)(*arguments, **named)

    return call


def _real(name: str) -> ModuleType:
    if isinstance(sys.modules.get(name), _StandIn):
        del sys.modules[name]
    return import_module(name)
