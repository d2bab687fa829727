"""A progress bar on the terminal, and none where the output is not one."""

from __future__ import annotations

import sys
from collections.abc import Callable


def progress_bar(unit: str) -> Callable[[int, int], None] | None:
    """Return progress(done, of) that draws on stderr, or None where nobody watches."""
    if not sys.stderr.isatty():
        return None
    from tqdm import tqdm

    bar = tqdm(unit=unit, leave=False)

    def show(done: int, of: int) -> None:
        bar.total = of
        bar.update(done - bar.n)
        if done == of:
            bar.close()

    return show
