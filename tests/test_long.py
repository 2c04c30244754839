"""A small share of the long campaigns, with a fixed seed."""

import pytest

from tests import long
from tests.seed.draws import SEED

pytestmark = pytest.mark.campaign

SHARES = {
    "proofs": 60, "honest_readings": 1500, "honest_work": 60, "workshop_draws": 60, "typed_scraps": 3000, "copy_screen": 20,
    "bench_roads": 6, "bench_ways": 2, "bench_cases": 6,
    "package_lines": 3000, "stopped_commands": 4,
}  # fmt: skip


@pytest.mark.parametrize("campaign", [campaign for campaign, _ in long.CAMPAIGNS], ids=lambda c: c.__name__)
def test_a_share_of_the_campaign(campaign):
    print(f"seed {SEED}")
    assert campaign(SEED, SHARES[campaign.__name__]) == []
