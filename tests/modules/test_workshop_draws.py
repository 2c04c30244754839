"""Draws that a workshop sees, jointly, and beside each draw the range it keeps to."""

import pytest

from tests.modules import workshop_draws


@pytest.mark.campaign
@pytest.mark.parametrize("key", workshop_draws.JOINTLY)
def test_draws_are_what_a_workshop_sees(key):
    """A thousand trainees; the long campaign takes ten thousand."""
    assert workshop_draws.outside(key, 1000) == []
