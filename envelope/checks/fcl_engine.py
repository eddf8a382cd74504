"""Who touches whom, asked of `python-fcl`: its trees of boxes, its yes or no."""

from collections.abc import Sequence
from typing import Any

from ..geometry.bodies import Mesh
from ..geometry.frames import Array
from .cast import Cast
from .fcl_shapes import engine, shape_of
from .occasion import Occasion


class Engine:
    """All bodies of a cast in `python-fcl`, and who touches whom."""

    def __init__(self, cast: Cast) -> None:
        self.cast = cast
        self._shapes: dict[tuple[int, float], Any] = {}
        self._things: dict[int, Any] = {}
        self._actor: dict[int, int] = {}
        for index, body in enumerate(cast.bodies):
            shape = self._shape(index, 0.0)
            self._actor[id(shape)] = index
            self._things[index] = _placed(shape, body.pose)
        self._moving: tuple[int, ...] = ()
        self._movers: Any = None
        self._still: Any = None
        self._stand: tuple[int, ...] | None = None

    def set_up(self, occasion: Occasion) -> None:
        """Let those take part that do in a segment."""
        self._moving = occasion.moving
        self._movers = _manager([self._things[index] for index in occasion.moving])
        if occasion.standing != self._stand:
            self._still = _manager([self._things[index] for index in occasion.standing])
            self._stand = occasion.standing

    def touching(self, frames: Array) -> list[tuple[int, int]]:
        """All pairs that touch as they are, at link poses, shape (links, 4, 4)."""
        for index in self._moving:
            self._things[index].setTransform(_transform(self._pose(index, frames)))
        self._movers.update()
        notes = _Notes()
        self._movers.collide(self._still, notes, _note)
        self._movers.collide(notes, _note)
        if notes.trouble is not None:
            raise notes.trouble
        return [(self._actor[first], self._actor[second]) for first, second in notes.met]

    def touch(self, mover: int, other: int, smaller: float, frames: Array) -> bool | None:
        """Whether two bodies touch, one of them made smaller; None where neither can be [m].

        A mesh cannot be, nor a body that is too thin: then it is the other.
        """
        for less, more in ((mover, other), (other, mover)):
            if smaller and isinstance(self.cast.bodies[less].shape, Mesh):
                continue
            shape = self._shape(less, smaller)
            if shape is not None:
                first = _placed(shape, self._pose(less, frames))
                second = _placed(self._shape(more, 0.0), self._pose(more, frames))
                return bool(engine().collide(first, second))
        return None

    def _pose(self, actor: int, frames: Array) -> Array:
        return frames[self.cast.actors[actor].link] @ self.cast.bodies[actor].pose

    def _shape(self, actor: int, smaller: float) -> Any:
        if (actor, smaller) not in self._shapes:
            self._shapes[actor, smaller] = shape_of(self.cast.bodies[actor], smaller)
        return self._shapes[actor, smaller]


class _Notes:
    """Which pairs touch, as told by the engine while it goes through its trees.

    An exception would be swallowed on its way through the engine, so it is noted too.
    """

    def __init__(self) -> None:
        fcl = engine()
        self._collide = fcl.collide
        self._request, self._told = fcl.CollisionRequest(), fcl.CollisionResult()
        self.met: list[tuple[int, int]] = []
        self.trouble: Exception | None = None

    def ask(self, first: Any, second: Any) -> None:
        """Ask about two objects whose boxes overlap, and note their shapes if they touch."""
        try:
            if self._collide(first, second, self._request, self._told):
                contact = self._told.contacts.pop()
                self._told.contacts.clear()
                self.met.append((id(contact.o1), id(contact.o2)))
        except Exception as error:
            self.trouble = error


def _note(first: Any, second: Any, notes: _Notes) -> bool:
    """What the engine calls for each pair; false lets it go on to the next."""
    notes.ask(first, second)
    return False


def _manager(things: Sequence[Any]) -> Any:
    fcl = engine()
    manager = fcl.DynamicAABBTreeCollisionManager()
    manager.registerObjects(things)
    manager.setup()
    return manager


def _placed(shape: Any, pose: Array) -> Any:
    return engine().CollisionObject(shape, _transform(pose))


def _transform(pose: Array) -> Any:
    return engine().Transform(pose[:3, :3], pose[:3, 3])
