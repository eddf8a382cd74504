"""Small cells spoilt in one way: each fails for that reason, and passes once it is mended.

The number told is worked out by hand beside each case. What passes after mending is sampled
along its motion by another library (coal), so that no pass is taken on trust.
"""

from dataclasses import dataclass, field

import pytest

from tests.support.second_opinion import EXACT, Run
from tests.support.small_cell import failing, small

pytestmark = pytest.mark.peer
OFF_LINE = 0.021  # [mm]: how far a straight line may be left between rows


@dataclass(frozen=True)
class Wrong:
    """What is spoilt: {0} in its texts stands for the number that is wrong, then mended.

    Attributes:
        numbers: The wrong number and a right one.
        told: Clearance (or offset, or cups) of the wrong one, as worked out by hand; None: too
            deep to tell.
        limit: What is asked where it is told.
        others: Checks that may fail as well.
    """

    name: str
    numbers: tuple[float | str, float | str]
    check: str
    between: tuple[str, str] | None
    told: float | None
    limit: float
    changes: tuple[tuple[str, str], ...] = ()
    more: str = ""
    settings: tuple[str, ...] = ()
    placement: str = "A/1/1"
    segment: str | None = "approach place"
    others: set[str] = field(default_factory=set)


def thing(shape: str, at: str, kind: str = "obstacle") -> str:
    return f"surroundings:\n  - {{name: thing, kind: {kind}, {shape}, at: {at}}}\n".replace(
        "{name", "{{name"
    ).replace("}\n", "}}\n")


SECOND_PALLET = """  B: {{size: [1200, 800, 144], at: {{x: {0}, y: -200}}, stack: other}}
stacks:
  other: {{layers: 1, patterns: [corner]}}
"""
CORNER = "patterns:\n  corner: {{placements: [{{group: box, at: {{x: 200, y: 150}}}}]}}\n"

CASES = [
    # The carton at rest ends at x = 2200.
    Wrong(
        "fence nearer than asked, 19 of 20",
        (2239, 2246),
        "collision",
        ("carton/A/1/1", "obstacle/thing"),
        19.0,
        20.0,
        more=thing("block: [40, 2000, 300]", "{{x: {0}, y: 0}}", "fence"),
    ),
    Wrong(
        "fence 1 mm inside what is swept",
        (2219, 2246),
        "collision",
        ("carton/A/1/1", "obstacle/thing"),
        -1.0,
        20.0,
        more=thing("block: [40, 2000, 300]", "{{x: {0}, y: 0}}", "fence"),
    ),
    Wrong(
        "keep-out space 5 mm inside",
        (2245, 2276),
        "collision",
        ("carton/A/1/1", "obstacle/thing"),
        -5.0,
        20.0,
        more=thing("block: [100, 100, 300]", "{{x: {0}, y: -50}}", "keep-out"),
    ),
    Wrong(
        "a wire of 2 mm where the carton comes to rest",
        (-50, -230),
        "collision",
        ("carton/A/1/1", "obstacle/thing"),
        None,
        20.0,
        more=thing(
            "cylinder: {{diameter: 2, from: [2100, {0}, 0], to: [2100, {0}, 300]}}",
            "{{x: 0, y: 0, z: 0}}",
        ),
    ),
    # The second carton's side at y = 250 - 0.2 where the first one's is at 250 - 0.
    Wrong(
        "a carton already down penetrated by 0.2 mm",
        (449.8, 449.95),
        "approach",
        ("carton/A/1/2", "carton/A/1/1"),
        -0.2,
        -0.1,
        changes=(("{x: 1000, y: 450}", "{{x: 1000, y: {0}}}"),),
        placement="A/1/2",
        others={"stacking", "collision"},
    ),
    Wrong(
        "the same where it was there at the start",
        (449.8, 449.95),
        "approach",
        ("carton/A/1/2", "carton/A/1/1"),
        -0.2,
        -0.1,
        changes=(
            ("{x: 1000, y: 450}", "{{x: 1000, y: {0}}}"),
            ("stack: main}", "stack: main, done: 1}}"),
        ),
        placement="A/1/2",
        others={"stacking", "collision"},
    ),
    Wrong(
        "the next pallet's full stack 5 mm in the way",
        (2195, 2206),
        "approach",
        ("carton/A/1/1", "carton/B/1/1"),
        -5.0,
        -0.1,
        changes=(("stacks:\n", SECOND_PALLET), ("patterns:\n", CORNER)),
        others={"collision"},
    ),
    Wrong(
        "a pallet that is drawn 1 mm higher than its deck",
        (145, 144),
        "approach",
        ("carton/A/1/1", "pallet/A"),
        -1.0,
        -0.1,
        changes=(
            (
                "stack: main}",
                "stack: main, body: {{block: [1200, 800, {0}], at: {{x: 600, y: 400}}}}}}",
            ),
        ),
        others={"collision"},
    ),
    Wrong(
        "guides nearer than 3 mm",
        (2, 9),
        "approach",
        ("carton/A/1/1", "conveyor/guide right"),
        2.0,
        3.0,
        settings=("infeed.guides.gap={0}",),
        segment="lift off",
    ),
    Wrong(
        "sides that bulge by 7 between guides 9 away",
        (7, 0),
        "approach",
        ("carton/A/1/1", "conveyor/guide right"),
        2.0,
        3.0,
        settings=("infeed.guides.gap=9", "cartons.box.bulge={0}"),
        segment="lift off",
    ),
    # Outer cups reach from 112.5 to 172.5 along the belt; the queue begins at 100 + gap.
    Wrong(
        "the queue under an active field",
        (72, 73),
        "offset",
        ("tool/plate", "infeed/queue 1 behind box"),
        3.0,
        0.0,
        settings=("cartons.box.size=[200, 300, 250]", "infeed.queue_gap={0}"),
        segment=None,
    ),
    Wrong(
        "a stated offset 2.1 mm off",
        (2.1, 1.9),
        "offset",
        None,
        2.1,
        2.0,
        more="groups:\n  box: {{row: {{carton: box, count: 1}}, offset: [0, {0}]}}\n",
        segment=None,
    ),
]


def made(case: Wrong, number, folder) -> Run:
    return small(
        folder,
        *((old, new.format(number)) for old, new in case.changes),
        more=case.more.format(number),
        settings=[text.format(number) for text in case.settings],
        placements={case.placement},
    )


def assert_clear(run: Run) -> None:
    """What is said to pass keeps every limit at every sample of its motion."""
    for pallet, releases, stretches in run.cycles():
        angle = run.turn_at_pick(releases, stretches)
        for stretch in stretches:
            for mover, least in run.least_margins(pallet, releases, stretch, angle).items():
                assert least[0] >= -EXACT, (stretch.name, mover, least)


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_it_fails_for_that_reason(case, tmp_path):
    run = made(case, case.numbers[0], tmp_path)
    found = failing(run, case.placement)
    assert {case.check} <= {f["check"] for f in found} <= {case.check, *case.others}
    mine = [
        f
        for f in found
        if f["check"] == case.check
        and (f["between"] and tuple(f["between"])) == case.between
        and f["segment"] == case.segment
    ]
    assert mine, found
    if case.told is None:
        assert any(f["value"] == -20.0 or f["value"] is None for f in mine)
        return
    worst = min(mine, key=lambda f: f["value"] - f["limit"])
    # Where the limit tapers it is the room left that is proved, at the instant named.
    room = case.told - case.limit
    upper = worst["value"] if worst["upper"] is None else worst["upper"]
    low, high = worst["value"] - worst["limit"], upper - worst["limit"]
    assert low - OFF_LINE <= room <= high + OFF_LINE
    assert upper - worst["value"] <= 1.001
    if case.check != "approach" or case.segment != "approach place":
        assert worst["limit"] == case.limit


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_mended_it_passes(case, tmp_path):
    run = made(case, case.numbers[1], tmp_path)
    assert run.data["verdict"] == "pass", failing(run, case.placement)
    assert_clear(run)
