"""The plan's assignment on public instances of the generalised assignment problem.

OR-Library (J. E. Beasley, 1990), file gap1: problems c515-1 to c515-5, five agents with a capacity each and
fifteen jobs, used by Osman (OR Spektrum 17, 1995) and Cattrysse, Salomon & Van Wassenhove (EJOR 72, 1994);
data and the optimal values, of the problems as maximisations, as the library gives them. An agent is a week
with so many hours, a job a pump, what a job earns there the cost with its sign turned.
"""

import numpy as np
import pandas as pd
import pytest

from analytics.scheduling.assignment import assign

GAP1 = """
17 21 22 18 24 15 20 18 19 18 16 22 24 24 16 23 16 21 16 17 16 19 25 18 21 17 15 25 17 24 16 20 16 25 24 16
17 19 19 18 20 16 17 21 24 19 19 22 22 20 16 19 17 21 19 25 23 25 25 25 18 19 15 15 21 25 16 16 23 15 22 17
19 22 24 8 15 14 23 8 16 8 25 9 17 25 15 10 8 24 15 7 23 22 11 11 12 10 17 16 7 16 10 18 22 21 20 6 22 24 10
24 9 21 14 11 14 11 19 16 20 11 8 14 9 5 6 19 19 7 6 6 13 9 18 8 13 13 13 10 20 25 16 16 17 10 10 5 12 23 36
34 38 27 33 336 19 23 24 20 20 25 16 21 24 15 17 17 20 20 20 25 24 16 21 19 17 17 19 23 21 21 23 20 15 16 16
21 25 22 24 24 16 17 15 18 15 17 18 24 18 25 24 18 19 15 18 20 22 23 18 16 19 17 15 22 25 19 21 22 20 15 20
19 18 18 17 23 17 25 25 16 12 8 20 18 10 12 8 14 23 19 14 15 15 24 16 18 19 22 13 20 9 7 25 10 20 13 11 15
16 6 20 20 5 14 12 6 15 22 18 13 23 23 18 25 18 23 25 17 25 13 23 23 13 20 20 23 17 19 24 12 17 15 25 22 5
24 19 12 25 23 21 23 19 18 36 37 38 48 44 327 22 21 16 17 21 15 17 22 22 25 18 20 24 15 22 23 24 19 15 16 21
15 25 16 21 20 19 16 23 20 21 20 21 25 21 20 21 19 17 16 25 19 15 15 15 17 21 25 25 23 22 20 19 20 25 15 20
21 25 23 15 25 23 19 17 17 25 24 24 17 24 19 18 19 16 23 10 15 13 17 10 13 6 9 21 20 7 9 25 8 17 13 8 23 11
18 7 22 13 5 24 24 15 10 22 22 17 22 23 20 11 17 25 23 9 22 20 15 9 25 5 19 25 16 15 10 18 9 11 20 7 21 15 8
25 22 9 10 23 19 21 17 15 15 17 25 19 10 9 21 32 37 44 35 40 339 15 25 20 18 19 21 18 22 24 15 25 17 17 15
22 20 18 25 25 16 24 22 24 17 18 23 25 21 25 24 25 19 18 18 23 18 15 22 23 16 25 22 22 15 16 19 19 23 17 19
19 22 19 23 22 24 22 25 19 16 25 24 17 19 25 19 23 19 25 15 19 21 18 19 22 20 20 18 9 18 5 16 18 13 24 21 23
15 19 9 5 12 18 8 22 19 19 11 7 19 20 17 21 25 5 18 8 8 9 20 20 23 13 15 12 6 12 25 25 23 17 19 24 9 16 22
10 17 12 17 15 21 16 18 6 14 6 20 6 21 5 11 23 20 21 20 18 13 13 21 39 36 37 38 37 341 25 25 18 24 20 19 25
24 23 15 18 18 25 15 22 25 18 17 22 21 23 20 23 16 19 15 18 16 23 16 18 16 19 15 15 18 15 20 19 24 22 20 25
16 21 18 21 16 18 17 24 18 23 22 16 17 22 22 18 16 17 18 15 21 23 21 24 23 20 22 19 15 22 22 25 16 20 9 22
17 19 20 22 20 13 6 20 23 19 7 12 22 18 18 6 13 17 17 17 14 20 12 17 14 22 5 19 19 14 24 16 7 8 9 22 13 23
24 15 20 20 8 6 9 5 17 23 18 14 12 14 17 15 23 21 6 6 24 24 8 7 5 25 21 18 12 20 20 7 12 40 38 38 35 34 326
"""
AGENTS, JOBS = 5, 15
PROBLEMS = np.array(GAP1.split(), float).reshape(5, -1)


@pytest.mark.parametrize("number", range(5))
def test_optimum_of_the_public_instance(number):
    *numbers, optimum = PROBLEMS[number]
    size = AGENTS * JOBS
    earns, hours, free = np.split(np.array(numbers), [size, 2 * size])
    week, pump = np.divmod(np.arange(size), JOBS)
    candidates = pd.DataFrame({
        "pump_id": pump, "stop": week, "depot": "North", "week": week, "pump_type": "A",
        "hours": hours, "cost": -earns, "shared_cost": 0.0, "early": False,
    })  # fmt: skip
    never = pd.Series(1e4, index=range(JOBS))
    plan = assign(candidates, never, {("North", k): free[k] for k in range(AGENTS)}, {})
    assert plan.proven
    assert not plan.unplaced
    assert -plan.cost == pytest.approx(optimum, abs=1e-9)
    used = candidates.loc[plan.chosen].groupby("week")["hours"].sum().reindex(range(AGENTS), fill_value=0.0)
    assert (used <= free).all()
