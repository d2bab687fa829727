"""Keep today's figures (`python -m tests.golden`), but none that changed without its method's version;
a figure that is new changed none."""

from __future__ import annotations

import json
import sys

from tests.golden.comparing import differences, path_of
from tests.golden.figures import KEPT, plain


def main() -> int:
    """Write each table; 1 where a version is to be raised first."""
    refused = 0
    for name, (make, version, close) in KEPT.items():
        now = {"version": version(), "figures": plain(make())}
        if path_of(name).exists():
            kept = json.loads(path_of(name).read_text(encoding="utf-8"))
            changed = differences(kept["figures"], now["figures"], close)
            moved = [change for change in changed if not change.endswith(": new")]
            if moved and kept["version"] == now["version"]:
                refused = 1
                print(f"{name}: {len(moved)} figures changed ({moved[0]}): raise METHOD_VERSION first")
                continue
            if not changed:
                continue
        path_of(name).write_text(json.dumps(now, indent=0, ensure_ascii=False) + "\n", encoding="utf-8")
        print(f"{name}: kept")
    return refused


if __name__ == "__main__":
    sys.exit(main())
