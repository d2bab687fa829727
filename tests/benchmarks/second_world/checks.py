"""A check before a decision: stage A with the tank closed, stage B with it open, as a fair shop does it.

Each stage finds each cause that is there with a stated chance (`kinds.CheckSkill`), less when the cause is
slight; what is found is cured at once. A stage that finds nothing may name a cause that isn't there. Stage B
is done where stage A names nothing and the reading still stands out (or where the pump comes out anyway). The
reading taken after is what decides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .causes import CAUSES
from .kinds import CheckSkill
from .luck import Luck

STAGE_A, STAGE_B = 0, 1


@dataclass
class Found:
    """Of each check: causes truly found (n, 8), the cause named falsely (-1: none)."""

    true: np.ndarray
    false: np.ndarray


def look(
    luck: Luck, unit: np.ndarray, day: np.ndarray, stage: int, level: np.ndarray, skill: CheckSkill
) -> Found:
    """What one stage finds. level: severity by cause (n, 8)."""
    day_i, c = day.astype(int), np.arange(len(CAUSES))
    chance = np.array(skill.closed if stage == STAGE_A else skill.opened)
    seen = chance * np.clip(level / 0.35, 0, 1)
    true = luck.uniform("find", unit[:, None], day_i[:, None], stage, c) < seen
    wrong = luck.uniform("misname", unit, day_i, stage) < (skill.false_closed, skill.false_open)[stage]
    likely = (chance > 0.5).astype(float)
    which = luck.choice(likely, "misname-which", unit, day_i, stage)
    absent = level[np.arange(unit.size), which] < 0.1
    return Found(true, np.where(wrong & absent & ~true.any(axis=1), which, -1))
