"""The window: the cell, its stack and its arm, to be turned and stepped through."""

import time
from collections.abc import Callable
from typing import Any

import numpy as np

from ..checks.finding import Judged, Verdict
from ..geometry.frames import Array
from ..motion.cycle import Segment
from .bodies import Bodies
from .camera import View, directions
from .colours import (
    BY_ROLE,
    BY_VERDICT,
    FIRST,
    INK,
    PANE,
    PAPER,
    REACHED,
    SECOND,
    SWEPT,
    Colour,
    ink_on,
)
from .controls import Corner, Sliders, Switches
from .facets import Facets
from .instant import Shown, is_building
from .library import load_library
from .nearness import Near
from .reaching import Wanted, reached_level
from .readout import SHORT_KEYS, key_lines, near_lines, tally, title, where_lines
from .subjects import Scene
from .sweep import swept
from .views import corners, direction_of, fitted, main_view
from .walk import Pose, Walk

SIZE = (1280, 800)
_TICK = 40  # [ms]
_STEP = 0.05  # [s]: how far a key moves in time
_ARROW = 0.10  # of a view's half height: the head of a shift
_FAR = 40.0  # [m]: distance of the eye from the focus, in parallel projection
_TINT = 0.45  # of a verdict's colour in the colour of a carton that is down


class Window:
    """A window on a walk through a cell.

    Args:
        walk: Where it starts.
        news: Asked again and again for new verdicts.
        wish: Called with the id of a placement whose verdict is waited for.
        opened: Called once the window is on the screen.
    """

    def __init__(
        self,
        walk: Walk,
        *,
        news: Callable[[], list[Judged]] = lambda: [],
        wish: Callable[[str], None] = lambda _: None,
        opened: Callable[[], None] = lambda: None,
    ) -> None:
        load_library()
        import pyvista as pv

        self.walk = walk
        self._news, self._wish, self._opened = news, wish, opened
        self._on = {"swept": False, "reach": False, "links": True}
        self.playing = False
        self._told = False
        self._ticked = 0.0
        self._pallet = ""
        self._swept: tuple[object, list[Facets]] = (None, [])
        self._scene: tuple[object, Scene | None] = (None, None)
        self._wanted: Scene | None = None
        self._plotter: Any = pv.Plotter(
            window_size=list(SIZE), title=f"{walk.cell.name} - envelope"
        )
        # smoothed by sampling, a picture takes seconds where there is no GPU
        self._plotter.render_window.SetMultiSamples(0)
        self._plotter.set_background([value / 255 for value in PAPER])
        self._plotter.camera.parallel_projection = True
        self.bodies = Bodies(self._plotter)
        left, right = (0.008, 0.988), (0.992, 0.988)
        self.title = Corner(self._plotter, left, "Left", top=True, size=20, face="DejaVuSans-Bold")
        self.where = Corner(self._plotter, left, "Left", top=True, below=34)
        self.near = Corner(self._plotter, right, "Right", top=True)
        self.keys = Corner(self._plotter, (0.008, 0.17), "Left", top=False, face="DejaVuSansMono")
        self.tally = Corner(self._plotter, (0.992, 0.17), "Right", top=False)
        self.sliders = Sliders(self._plotter, len(walk.stops), self._slid_to, self._slid_at)
        self.switches = Switches(
            self._plotter,
            [
                ("1  room swept", False, lambda on: self._switch("swept", on)),
                ("2  reach at this height", False, lambda on: self._switch("reach", on)),
                ("3  link bodies", True, lambda on: self._switch("links", on)),
            ],
        )
        self._bind()

    # --- life ----------------------------------------------------------------------------------

    def open(self) -> None:
        """Put it on the screen."""
        self.see_all()
        self._plotter.renderer.camera_set = True
        self.draw()
        self._plotter.show(auto_close=False, interactive=False)

    def run(self) -> None:
        """Show it until it is closed."""
        self.open()
        iren = self._plotter.iren
        iren.add_observer("TimerEvent", self._on_timer)
        iren.initialize()
        iren.create_timer(_TICK, repeating=True)
        iren.start()
        self._plotter.close()

    def _on_timer(self, *_: object) -> None:
        self.tick()

    def close(self) -> None:
        """End it."""
        self._plotter.iren.terminate_app()

    def picture(self) -> Array:
        """What is on the screen, shape (height, width, 3)."""
        return np.asarray(self._plotter.screenshot(return_img=True))

    def tick(self) -> None:
        """Take in what is new, and move on while playing."""
        if not self._told:
            self._told = True
            self._opened()
        now = time.monotonic()
        passed, self._ticked = now - self._ticked, now
        news = self._news()
        if news:
            self.walk.learn(news)
            self.sliders.verdicts([self.walk.verdict(p.id) for p in self.walk.stops])
            self.tally.say([tally(self.walk)])
        if self.playing:
            self._play(min(passed, 0.2))
        elif news:
            self.draw()

    def _play(self, passed: float) -> None:
        walk = self.walk
        if walk.cycle is None:
            if walk.judged is not None:
                self._next()
        elif walk.instant >= walk.seconds:
            self._next()
        else:
            walk.at(walk.instant + passed)
        self.draw()

    def _next(self) -> None:
        """The next placement, or stop at the end of the order."""
        if self.walk.index + 1 < len(self.walk.stops):
            self.walk.to(self.walk.index + 1)
        else:
            self.playing = False

    # --- keys, sliders, switches ---------------------------------------------------------------

    def _bind(self) -> None:
        """Keys to what they do; the drawing library's own keys are taken off."""
        iren = self._plotter.iren
        self._plotter.enable_terrain_style(mouse_wheel_zooms=True, shift_pans=True)
        iren.clear_key_event_callbacks()
        iren.style.AddObserver("CharEvent", _nothing)  # keeps it from doing its own
        keys: dict[str, Callable[[], None]] = {
            "Right": lambda: self._go(self.walk.index + 1),
            "Left": lambda: self._go(self.walk.index - 1),
            "n": lambda: self.problem(forward=True),
            "b": lambda: self.problem(forward=False),
            "w": self._worst,
            "space": self._play_or_pause,
            "period": lambda: self._slid_at(self.walk.instant + _STEP),
            "comma": lambda: self._slid_at(self.walk.instant - _STEP),
            "1": lambda: self._switch("swept", self.switches.flip(0)),
            "2": lambda: self._switch("reach", self.switches.flip(1)),
            "3": lambda: self._switch("links", self.switches.flip(2)),
            "c": self._whole,
            "h": self._help,
            "q": self.close,
        }
        for key, done in keys.items():
            self._plotter.add_key_event(key, done)
        self.keys.say([SHORT_KEYS])

    def _help(self) -> None:
        short = self.keys.text.count("\n") == 0
        self.keys.say(key_lines() if short else [SHORT_KEYS])
        self._plotter.render()

    def _play_or_pause(self) -> None:
        self.playing = not self.playing
        if self.playing and self.walk.cycle is not None and self.walk.instant >= self.walk.seconds:
            self.walk.at(0.0)
        self._ticked = time.monotonic()

    def _go(self, index: int) -> None:
        self.walk.to(index)
        if self.walk.judged is None:
            self._wish(self.walk.placement.id)
        self.draw()

    def _slid_to(self, index: int) -> None:
        if index != self.walk.index:
            self._go(index)

    def _slid_at(self, instant: float) -> None:
        self.walk.at(instant)
        self.draw()

    def _switch(self, name: str, on: bool) -> None:
        self._on[name] = on
        self.draw()

    def problem(self, *, forward: bool) -> None:
        """Jump to the next or previous problem, and look at it."""
        self.playing = False
        if self.walk.to_problem(forward):
            self._look()
            self.draw()

    def _worst(self) -> None:
        self.playing = False
        self.walk.to_worst()
        self._look()
        self.draw()

    def _whole(self) -> None:
        self.see_all()
        self._plotter.render()

    # --- the eye -------------------------------------------------------------------------------

    def see_all(self) -> None:
        """Look at the whole cell."""
        shown = self.walk.scenery.at(self.walk.resting())
        inside = [entry.facets for entry in shown if not is_building(entry.facets)]
        points, margin = corners(inside), np.array([0.5, 0.5, 0.0])
        self.bodies.floor(points.min(axis=0) - margin, points.max(axis=0) + margin)
        self._see(fitted(directions()[24], points, SIZE, 1.35))

    def _look(self) -> None:
        """Look at the problem as its picture does."""
        scene = self._problem_scene()
        if scene is not None:
            self._see(main_view(scene, direction_of(scene), SIZE))

    def _see(self, view: View) -> None:
        camera = self._plotter.camera
        camera.focal_point = view.focus
        camera.position = view.focus - _FAR * view.towards
        camera.up = (0.0, 0.0, 1.0)
        camera.parallel_scale = view.half
        camera.clipping_range = (0.5, 2.0 * _FAR)

    def _problem_scene(self) -> Scene | None:
        found = self.walk.problem
        if self._scene[0] is not found:
            self._scene = found, self.walk.scene()
        return self._scene[1]

    # --- what is seen --------------------------------------------------------------------------

    def draw(self) -> None:
        """Draw what is known of the placement and the instant one is at."""
        walk = self.walk
        if walk.placement.pallet != self._pallet:
            self._pallet = walk.placement.pallet
            self.bodies.clear()
        pose = walk.pose()
        moment = walk.resting() if pose is None else pose.moment
        frames = walk.scenery.frames(moment.joints)
        near = [] if pose is None else walk.near(pose, frames)
        shown = walk.scenery.at(moment)
        picked = self._picked(near)
        self._put(shown, frames, picked)
        self._over(pose, frames)
        self._unmoved(pose)
        self._entitle()
        self.where.say(where_lines(walk, pose))
        self.near.say([*(near_lines(near) if pose is not None else []), *self._colours()])
        self.sliders.show(walk.index, walk.instant, walk.seconds)
        self._plotter.renderer.ResetCameraClippingRange()
        self._plotter.render()

    def _entitle(self) -> None:
        """Placement and verdict, on the verdict's colour."""
        judged = self.walk.judged
        verdict = None if judged is None else judged.verdict
        self.title.say([title(self.walk)])
        ground = PANE if verdict in (None, "pass") else BY_VERDICT[verdict]
        self.title.ground(ground, ink_on(ground))

    def _picked(self, near: list[Near]) -> dict[int, Colour]:
        """The pair that is too near, or only just not, in the colours of the pictures."""
        margin = self.walk.cell.clearances.margin
        bad = [e for e in near if e.room < 0.0] or [
            e for e in near if e.limit >= 0.0 and e.room < margin
        ]
        if not bad:
            return {}
        return {bad[0].actors[1]: SECOND, bad[0].actors[0]: FIRST}

    def _put(self, shown: list[Shown], frames: Array, picked: dict[int, Colour]) -> None:
        actors = self.walk.scenery.cast.actors
        moving = [e for e in shown if actors[e.actor].link or e.role == "arm"]
        colours = {e.actor: picked.get(e.actor, BY_ROLE[e.role]) for e in moving}
        bare = [] if self._on["links"] else [e.actor for e in moving if e.role == "arm"]
        tip = self.walk.cell.mounted.arm.chain.flange_link
        bones = [0, *self.walk.cell.mounted.arm.chain.path(tip)] if bare else []
        self.bodies.line("bones", frames[bones, :3, 3] if bones else np.zeros((0, 3)), INK, 4.0)
        self.bodies.move(
            {e.actor: self.walk.scenery.own(e.actor) for e in moving},
            {e.actor: frames[actors[e.actor].link] for e in moving},
            colours,
            bare,
        )
        gone = {e.actor for e in moving}
        still = [e for e in shown if e.actor not in gone]
        marked = {e.actor: colour for e in still if (colour := self._judged_colour(e)) is not None}
        self.bodies.stand(still, marked | {k: v for k, v in picked.items() if k not in gone})

    def _judged_colour(self, entry: Shown) -> Colour | None:
        """A carton that is down and did not pass is tinted with its verdict."""
        if entry.role != "placed":
            return None
        name = entry.name.removeprefix("carton/").partition(".")[0]
        verdict: Verdict | None = self.walk.verdict(name)
        if verdict in (None, "pass"):
            return None
        strong, plain = np.array(BY_VERDICT[verdict]), np.array(BY_ROLE["placed"])
        mixed = (_TINT * strong + (1.0 - _TINT) * plain).astype(int).tolist()
        return mixed[0], mixed[1], mixed[2]

    def _over(self, pose: Pose | None, frames: Array) -> None:
        """What the switches lay over the bodies."""
        on = self._on["swept"] and pose is not None
        self.bodies.over("swept", self._swept_by(pose) if on and pose is not None else (), SWEPT)
        level: list[Facets] = []
        if self._on["reach"] and pose is not None:
            cell = self.walk.cell
            chain = cell.mounted.arm.chain
            link = frames[chain.flange_link]
            tcp = link @ chain.link_from_flange @ cell.tool.flange_from_tcp
            base = np.linalg.inv(cell.mounted.world_from_base)
            level = reached_level(cell, Wanted(base @ tcp, link, tcp[:3, 3]))
        self.bodies.over("reach", level, REACHED)

    def _swept_by(self, pose: Pose) -> list[Facets]:
        """The room of the segment one is in; worked out once for each segment."""
        segment: Segment = pose.segment
        if self._swept[0] is not segment:
            self._swept = segment, swept(self.walk.scenery, pose.moment, segment, ())
        return self._swept[1]

    def _colours(self) -> list[str]:
        """What the colours of something out of reach stand for."""
        scene = self._wanted
        if scene is None:
            return []
        level = ["green: what the tool reaches at that height"] if scene.level else []
        return [f"orange: {scene.names[0]}", *level]

    def _unmoved(self, pose: Pose | None) -> None:
        """Where something is out of reach: what is wanted, and which way it is in reach."""
        scene = self._problem_scene()
        if scene is not None and pose is not None and not _is_shift(scene):
            scene = None
        self._wanted = scene
        self.bodies.over("wanted", () if scene is None else scene.first, FIRST)
        self.bodies.over("level", () if scene is None else scene.level, REACHED)
        ends = np.zeros((0, 3))
        if scene is not None and scene.mark is not None:
            ends = np.array([scene.mark.start, scene.mark.end])
        self.bodies.line("shift", ends, INK)


def _is_shift(scene: Scene) -> bool:
    return scene.mark is not None and scene.mark.kind == "shift"


def _nothing(*_: object) -> None:
    """What is done for keys that the drawing library would answer by itself."""
