"""A progress bar on the terminal, with rate and time left, and none where the output is not one."""

from __future__ import annotations

import sys
from collections.abc import Callable


def progress_bar(unit: str) -> Callable[..., None] | None:
    """Return progress(done, of), or (done, of, name), that draws on stderr; None where nobody watches."""
    if not sys.stderr.isatty():
        return None
    from tqdm import tqdm

    bar = tqdm(unit=unit, leave=False)

    def show(done: int, of: int, _name: str = "") -> None:
        bar.total = of
        bar.update(done - bar.n)
        if done == of:
            bar.close()

    return show
