"""A second world of fleets, independent of the forecasting method, that judges forecasts and plans.

It shares nothing with `demo_fleet`, `analytics` or the other studies: own physics, own laws, own luck, own
records. It knows the fleet folder's columns, and nothing else of the project.

    from tests.benchmarks.second_world import build, write_folder

    world = build(seed=7, kind="standard", vehicles=200)    # or "long-lived", "bad-lot"; or your own Kind
    run = world.start()                   # five years of history behind it; start(day) for another day
    tables = run.tables()                 # {"vehicles": frame, "pumps": …} as recorded by run.today
    fresh = run.tables(since=run.today - 7)                # only rows recorded since then
    write_folder(tables, "somewhere")     # a fleet folder for `pumpledger load`

    while run.today < world.end_day:      # a policy's loop
        step = run.step(run.today + 7, orders, hold=True)
        step.stops                        # unit, day, reason of stops made; with hold they still stand there
        step.events, step.money, step.unmet
        orders = [{"unit": "VA0101", "day": day, "job": "check and change", "own_stop": False}, …]

    run.money()                           # all cash so far; history's part has day <= world.history_days
    truth.truth(run)                      # hidden states, remaining life, all-seeing risk, today
    truth.at_visits(run)                  # the truth behind every planned stop so far
    truth.end_credit(run)                 # what the life left is worth, apart from cash
    truth.all_seeing_orders(run)          # an owner who sees every state, for a loop with hold
    truth.foresight_orders(run)           # one who knows the day of failure
    truth.checks(run)                     # every check, with what was there and whether it named it
    informed.Informed(world).forecast(run)      # true laws, but only what was written down: unit, risk,
    beside

**Same luck.** Every random number is a hash of seed, unit, pump number (or day) and purpose (`luck`). A
policy that leaves a unit alone leaves it exactly as it is under any other policy; a pump's n-th successor on
a unit is the same pump whenever it is fitted, but for its lot, which goes by date. `run.copy()` branches a
run.

**Days** are whole numbers from 2020-01-06; everything takes ISO dates too. **Orders** (`Run.step`): job
'check', 'change' or 'check and change'; at the first stop on or after `day`, or with `own_stop` at an extra
stop on it. With `hold`, units that come to a stop stay there until the next step, whose orders for that day
are done *now*, in the bay. A check cures what it finds; 'check and change' asks `judge` (a function of the
checks' frame) or `jobs.default_judge`. After the start nothing is done but what is ordered, what fails or
breaks down, and filters by distance; complaints bring a stop and a reading, no more.

**Cash** (`kinds.Prices`): planned change 650 (part 320, labour 330, the tank opened once), check 40 with the
tank closed, 80 more where it had to be opened and the pump stayed, extra stop 60, part sent back 25, failure
2,400, comeback 1,500 (a failure by an installation fault, 2 % of changes, within 3,000 km), breakdown beside
the pump 900, or 2,400 where the pump is blamed and changed. Captures and planned stops are free: they are
made anyway.

**What is in it**, each module saying its numbers and why:
- `designs`: six pump types (even and odd bars, direct, two-speed, PWM) and seven ways to fail, with
  signatures in amps, speed, ripple, delivery that follow from each motor's own constants;
- `kinds`: how long pumps live in the kinds of fleet, prices, skill of checks, duty classes, depots;
- `fleet`: use by season and change of work, stress, stops late and missed, clamps (one nested in a depot),
  lots;
- `lives`: onset, growth, own level of failure; a bad lot fails by one mechanism, sooner;
- `causes`: connector, supply, ground, strainer, outlet filter, regulator, hose, fuel, beside the pump;
- `readings`, `checks`, `jobs`, `run`, `log`: what is read, found, ordered, done and written down;
- `records`, `folder`: what the fleet's books say of it; lost, late and wrong entries included;
- `informed`: what the records allow to know, by one who knows the laws; `truth`: what nobody sees. Figures of
  each kind: `python -m tests.benchmarks.second_world.summary`.

**Measured** (standard, long-lived, bad lot): failures a vehicle-year .26, .08, .21, of which sudden or by the
fitting .16, .16, .15; planned stops 3.5; readings that stand out .14, .07, .12, of these beside the pump .42,
.41, .41 where .4 is asked; failures before the next interval .075, .022, .062 of planned stops; all-seeing
AUC .91, .92, .92 (4 fleets of 400, standard errors under .01, of shares under .03). At 1,000 vehicles boosted
trees grown on 3,000 vehicles of other fleets reach .806, .809, .805, without readings .68, .65, .69
(all-seeing .912). Over 2.5 years at 200 vehicles (standard, 3 fleets) an all-seeing owner spends .56 of run
to failure, one with foresight .41.

**Left out**, knowingly: two pumps in one vehicle, a pump moved to another vehicle, captures as waveforms,
bays and parts that run out (a plan's own concern), pumps worn faster by a plugged filter (causes and damage
meet in readings only), a shop that learns.
"""

from .folder import write_folder
from .kinds import KINDS, CheckSkill, Kind, Prices
from .run import Run, Step
from .world import World


def build(
    seed: int,
    kind: str | Kind = "standard",
    vehicles: int = 200,
    history_years: float = 5.0,
    ahead_years: float = 2.5,
    beside: float = 0.4,
    prices: Prices | None = None,
    skill: CheckSkill | None = None,
) -> World:
    """A world: what is settled beforehand; `World.start` lives through its history.

    beside: share of abnormal readings at planned stops that causes beside the pump should bring (.05 to .6;
    what came of it: `summary`). Raises KeyError for an unknown kind.
    """
    return World(
        seed, kind, vehicles, history_years, ahead_years, beside, prices or Prices(), skill or CheckSkill()
    )


__all__ = ["KINDS", "CheckSkill", "Kind", "Prices", "Run", "Step", "World", "build", "write_folder"]
