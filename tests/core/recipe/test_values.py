"""What a recipe's values say of themselves."""

from __future__ import annotations

from tests.evening import STOP, develop, recipe

FULL = 'counted = "full to empty"\nfill = "0:20"\n'


def test_filling_and_draining_come_on_top_of_a_time_that_counts_from_full_to_empty() -> None:
    """In a stage that lasts at least so long only the filling: nothing says when it is drained."""
    timed = recipe(develop("5:00", FULL)).stages[0]
    assert (timed.fills_s, timed.beyond_target_s, timed.begin_to_end_s) == (20.0, 35.0, 335.0)
    least = recipe(develop("5:00"), f'name = "fix"\nrole = "fix"\ntime = "5:00"\n{FULL}').stages[1]
    assert (least.fills_s, least.beyond_target_s, least.begin_to_end_s) == (20.0, 20.0, 320.0)
    assert recipe(develop("5:00")).stages[0].beyond_target_s == 0.0


def test_a_sheet_has_its_own_factor_in_the_developer_and_nowhere_else() -> None:
    """Its factor times the stage's."""
    tail = '[sheets]\ncount = 2\ninterval = "0:30"\nfactors = [1, 0.8]\n'
    plan = recipe(develop("5:00", "factor = 1.2"), STOP, vessel="open tray", tail=tail)
    assert [round(plan.target_ref_s(plan.stages[0], sheet), 6) for sheet in (None, 1, 2, 3)] == [360.0, 360.0, 288.0, 360.0]
    assert plan.target_ref_s(plan.stages[1], 2) == 60.0
