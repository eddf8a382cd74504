"""Values set on top of a file: the same as written in it, errors named by the setting."""

import pytest

from envelope.cell.load import load


def test_a_setting_is_as_good_as_a_line(starter):
    written = load(starter(("at: {x: 1000, y: -200, z: 0, yaw: 0}", "at: {x: 650, y: -200}")))
    setting = load(starter(), ["pallets.A.at.x=650"])
    assert (setting.pallets[0].world_from_pallet == written.pallets[0].world_from_pallet).all()
    assert setting.pallets[0].placements == written.pallets[0].placements


@pytest.mark.parametrize(
    ("setting", "read", "value"),
    [
        ("pallets.A.at.x=0.65 m", lambda c: c.pallets[0].world_from_pallet[0, 3], 0.65),
        ("pallets.A.size.2=200", lambda c: c.pallets[0].size[2], 0.2),
        ("pallets.A.size=[1000, 800, 120]", lambda c: c.pallets[0].size, (1.0, 0.8, 0.12)),
        ("motion.lift_off=300", lambda c: c.motion.lift_off, 0.3),
        ("stacks.main.patterns.0=row", lambda c: len(c.pallets[0].placements), 24),
        ("arm.model=spherical-1800-25", lambda c: c.mounted.arm.name, "spherical-1800-25"),
        ("infeed.guides=none", lambda c: len(c.infeed.fixtures), 2),
        (" name = Another", lambda c: c.name, "Another"),
        ("groups.box={row: {carton: box, count: 1}}", lambda c: c.groups[0].name, "box"),
        ("arm.usable.joint 6=[-90, 90]", lambda c: c.mounted.usable[5][1], 1.5707963267948966),
    ],
)
def test_any_key_can_be_set(starter, setting, read, value):
    assert read(load(starter(), [setting])) == pytest.approx(value)


def test_the_last_setting_wins_and_changes_the_digest(starter):
    path = starter()
    cell = load(path, ["motion.lift_off=100", "motion.lift_off=200"])
    assert cell.motion.lift_off == 0.2
    assert cell.sha256 != load(path).sha256
    assert load(path).motion.lift_off == 0.15


def test_names_with_dots(starter):
    path = starter(("  A:\n", "  A.1:\n"))
    assert load(path, ["pallets.A.1.max_load=100"]).pallets[0].max_load == 100


@pytest.mark.parametrize(
    ("setting", "message"),
    [
        ("pallets.B.at.x=650", 'pallets.B: there is no "B" in pallets; known: "A"'),
        ("stacks.mian.layers=2", 'stacks.mian: there is no "mian" in stacks; did you mean "main"?'),
        ("motion.lift_of=5", 'motion.lift_of: no such key here; did you mean "lift_off"?'),
        ("motoin.lift_off=5", 'motoin: no such key here; did you mean "motion"?'),
        ("pallets.A.at.x=far", 'pallets.A.at.x: "far" is not a length; write a length in mm'),
        ("pallets.A.size.7=5", "pallets.A.size.7: the list has 3 entries; write 0 to 2"),
        ("pallets.A.size.one=5", 'pallets.A.size.one: "one" is not a position in a list'),
        ("name.first=x", "name.first: no key can stand here; name holds a single value"),
        ("pallets.A.stack=other", 'there is no stack "other"; known: "main"'),
        ("motion.lift_off", "no value is set; write KEY=VALUE"),
        ("=5", "no value is set; write KEY=VALUE"),
        ("motion..lift_off=5", "motion.: a key is empty"),
        ("motion.lift_off=[", 'motion.lift_off: "[": the file ends within'),
        ("motion.lift_off=", "motion.lift_off: nothing is not a length"),
    ],
)
def test_wrong_settings_are_named(starter, errors, setting, message):
    path = starter()
    (line,) = errors(path, [setting])
    assert line.startswith(f"{path} with --set {setting}: ")
    assert message in line


def test_all_wrong_settings_at_once(starter, errors):
    assert len(errors(starter(), ["pallets.B.at.x=1", "stacks.x.layers=2"])) == 2
