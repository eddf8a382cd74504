"""Letters can be read on every ground that a verdict has."""

import pytest

from envelope.scene import colours


def test_contrast_is_that_of_black_on_white_and_of_nothing():
    assert colours.contrast((0, 0, 0), (255, 255, 255)) == pytest.approx(21.0)
    assert colours.contrast(colours.INK, colours.INK) == 1.0


@pytest.mark.parametrize("ground", [*colours.BY_VERDICT.values(), colours.BLUISH_GREEN])
def test_letters_can_be_read_on_the_ground_of_a_verdict(ground):
    assert colours.contrast(colours.ink_on(ground), ground) >= 3.0
