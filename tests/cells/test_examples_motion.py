"""The results files of the example cells, their motion followed by another library (pin)."""

from itertools import pairwise

import numpy as np
import pytest

from envelope.geometry.frames import angle_between, pose
from tests.support.plain_scene import held_at
from tests.support.second_opinion import CELLS, SAMPLE, example

pytestmark = pytest.mark.peer
NAMES = sorted(SAMPLE)
ON_LINE, ON_LINE_ANGLE = 2.0e-5, np.radians(2.0e-3)  # as promised between rows
ROUNDING = 1e-7  # [m]: of the arithmetic; the rows are on the file's grid already


@pytest.fixture(params=NAMES)
def run(request):
    return example(request.param)


def test_every_example_cell_is_looked_at():
    assert sorted(path.stem for path in CELLS.glob("*.yaml")) == NAMES


def test_the_keys_of_the_file_are_the_stable_ones_in_their_order(run):
    data = run.data
    stable = ["format", "cell", "verdict", "counts", "placements"]
    added = {"findings", "rate"}  # on the cell as a whole
    assert [key for key in data if key not in added] == stable
    assert data["format"] == 1
    assert list(data["cell"]) == ["name", "sha256"]
    assert list(data["counts"]) == ["placements", "pass", "marginal", "fail", "not_checked"]
    for entry in data["placements"]:
        assert list(entry) == [
            *("id", "pallet", "layer", "order", "group", "pose", "verdict"),
            *("findings", "cycle"),
        ]
        assert list(entry["pose"]) == ["x", "y", "z", "yaw"]
        assert entry["findings"]
        for finding in entry["findings"]:
            assert list(finding) == [
                *("check", "verdict", "value", "upper", "limit", "unit"),
                *("between", "segment", "at", "message", "worst_case"),
            ]
        if entry["cycle"] is not None:
            assert list(entry["cycle"]) == ["number", "seconds", "segments"]
            assert entry["cycle"]["segments"]
            for segment in entry["cycle"]["segments"]:
                assert list(segment) == ["name", "kind", "joints", "times"]


def test_verdicts_add_up(run):
    order = ["pass", "marginal", "not checked", "fail"]
    counts = dict.fromkeys(order, 0)
    for entry in run.data["placements"]:
        worst = max((f["verdict"] for f in entry["findings"]), key=order.index)
        assert entry["verdict"] == worst
        counts[worst] += 1
    told = run.data["counts"]
    assert told["placements"] == len(run.data["placements"]) == sum(counts.values())
    assert [told[name.replace(" ", "_")] for name in order] == list(counts.values())
    assert run.data["verdict"] == max((n for n in order if counts[n]), key=order.index)


def test_a_number_and_its_limit_give_the_verdict(run):
    margin = run.cell.clearances.margin * 1e3
    seen = 0
    for entry in run.data["placements"]:
        for finding in entry["findings"]:
            if finding["check"] not in ("approach", "collision") or finding["value"] is None:
                continue
            room = finding["value"] - finding["limit"]
            seen += 1
            if "deeper than" in finding["message"]:
                below = min(-20.0, finding["limit"] - 2.0)
                assert (finding["verdict"], finding["value"]) == ("fail", pytest.approx(below))
            elif finding["verdict"] == "fail":
                assert room < 1e-3
            elif finding["verdict"] == "marginal":
                assert -1e-3 < room < margin + 1e-3
            else:
                assert room > (-1e-3 if finding["limit"] < 5.0 else margin - 1e-3)
    assert seen > 100


def test_cycles_join_and_come_home(run):
    """Ends meet starts, time never runs back, and every cycle starts and ends at one posture.

    With a lift, at one for each of its places: a cycle starts where it stood for the one before.
    """
    homes, on_axis = {}, run.cell.mounted.arm.axis is not None
    for pallet, _, stretches in run.cycles():
        for before, after in pairwise(stretches):
            assert np.array_equal(before.joints[-1], after.joints[0])
            assert after.times[0] >= before.times[-1]
        for stretch in stretches:
            assert len(stretch.joints) == len(stretch.times) >= 2
            assert (np.diff(stretch.times) >= 0.0).all()
        first, last = stretches[0].joints[0], stretches[-1].joints[-1]
        assert stretches[0].times[0] == 0.0
        if not on_axis:
            assert np.array_equal(first, last)
        for end in (first, last):
            place = float(end[0]) if on_axis else None
            assert np.array_equal(homes.setdefault((pallet.name, place), end), end)
    assert len(homes) == (2 if on_axis else len({pallet for pallet, _ in homes}))


def test_segments_come_in_their_order(run):
    for _, releases, stretches in run.cycles():
        names = [
            s.name for k, s in enumerate(stretches) if not k or s.name != stretches[k - 1].name
        ]
        each = ["transfer", "approach place", "withdraw"]
        assert names == ["approach pick", "lift off", *(each * len(releases)), "return"]
        kinds = {s.name: {o.kind for o in stretches if o.name == s.name} for s in stretches}
        for name in ("lift off", "approach place", "withdraw"):
            assert kinds[name] == {"linear"}


def test_joints_stay_within_every_range(run):
    """Of the arm, of the cell, and of the linkage; in between rows too, for they are linear."""
    mounted = run.cell.mounted
    for _, _, stretches in run.cycles():
        q = np.concatenate([s.joints for s in stretches])
        for joint, (low, high), column in zip(mounted.arm.joints, mounted.usable, q.T, strict=True):
            assert joint.lower - 1e-9 <= low <= high <= joint.upper + 1e-9
            assert column.min() >= low - 1e-9
            assert column.max() <= high + 1e-9
        for limit in mounted.arm.coupled:
            total = q @ np.array(limit.factors)
            assert total.min() >= limit.lower - 1e-9
            assert total.max() <= limit.upper + 1e-9
    assert (run.cell.name == "Biscuit cartons, two pallets") == bool(mounted.arm.coupled)


def test_the_group_comes_to_where_the_pattern_wants_it(run):
    """From the file's joints over URDF, tool and group to the world, against the pallet's pose."""
    far, turned = 0.0, 0.0
    for pallet, releases, stretches in run.cycles():
        angle = run.turn_at_pick(releases, stretches)
        for down, placement in enumerate(releases):
            last = [s for s in stretches if s.name == "approach place" and s.down == down][-1]
            flange = run.frames(last.joints[-1:])[0, -1]
            reached = flange @ held_at(run.cell, placement.group, angle)
            at = run.told[placement.id]["pose"]
            deck = pose(at["x"] / 1e3, at["y"] / 1e3, at["z"] / 1e3, np.radians(at["yaw"]))
            wanted = [pallet.world_from_pallet @ deck]
            if placement.half_turn:
                wanted.append(wanted[0] @ pose(yaw=np.pi))
            off = [float(np.linalg.norm(w[:3, 3] - reached[:3, 3])) for w in wanted]
            angles = [float(angle_between(w, reached)) for w in wanted]
            best = int(np.argmin(angles))
            far, turned = max(far, off[best]), max(turned, angles[best])
    assert 0.0 < far < 5e-5
    assert turned < np.radians(0.01)


def test_straight_lines_are_straight_between_rows(run):
    """At nine points between rows the TCP is on the line, evenly along it, and turns nowhere."""
    worst, angles, lines = 0.0, 0.0, set()
    for _, _, stretches in run.cycles():
        for stretch in stretches:
            key = stretch.joints.tobytes()
            if stretch.kind == "joint" or key in lines:
                continue
            lines.add(key)
            part = np.linspace(0.0, 1.0, 10, endpoint=False)
            rows = stretch.joints
            q = rows[:-1, None] + part[None, :, None] * np.diff(rows, axis=0)[:, None]
            tcp = run.tcp(np.concatenate([q.reshape(-1, rows.shape[1]), rows[-1:]]))
            share = np.linspace(0.0, 1.0, len(tcp))[:, None]
            wanted = tcp[0, :3, 3] + share * (tcp[-1, :3, 3] - tcp[0, :3, 3])
            worst = max(worst, float(np.linalg.norm(tcp[:, :3, 3] - wanted, axis=1).max()))
            first = np.repeat(tcp[:1], len(tcp), axis=0)
            angles = max(angles, float(angle_between(first, tcp).max()))
            assert len(rows) <= 201
    assert 0.0 < worst <= ON_LINE + ROUNDING
    assert angles <= ON_LINE_ANGLE
    assert len(lines) > 10


def test_lines_go_straight_up_and_down_by_default(run):
    """Lift off and withdraw are vertical in the world; the lift goes past guides and queue."""
    for _, releases, stretches in run.cycles():
        for stretch in stretches:
            if stretch.name not in ("lift off", "withdraw"):
                continue
            tcp = run.tcp(stretch.joints[[0, -1]])
            rise = tcp[1, :3, 3] - tcp[0, :3, 3]
            assert np.hypot(*rise[:2]) < 1e-5
            if stretch.name == "lift off":
                infeed, group = run.cell.infeed, releases[0].group
                height = max(item.carton.size[2] for item in group.items)
                assert rise[2] > run.cell.motion.lift_off - 1e-5
                assert rise[2] > infeed.guide_height
                assert not infeed.queue or rise[2] > height
            else:
                assert rise[2] > run.cell.motion.approach_height - 1e-5


def test_no_joint_is_driven_faster_than_it_can(run):
    """Average joint speed between rows, from the file's times."""
    speed = np.array([joint.speed for joint in run.cell.mounted.arm.joints])
    for _, _, stretches in run.cycles():
        for stretch in stretches:
            step = np.abs(np.diff(stretch.joints, axis=0))
            time = np.diff(stretch.times)[:, None] + 1e-6  # times are rounded to a microsecond
            assert (step <= speed * time * (1.0 + 1e-6) + 1e-12).all(), stretch.name
