"""Where a ledger may be written: on Linux, on a disk of this machine.

Locks, flushes and renames were tested there only. Elsewhere a ledger may be read, and nothing is written.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

from ingest.errors import LedgerError

MOUNTS = Path("/proc/self/mounts")
# Shares from other machines, as the system names their kinds: proc(5), mount(8).
SHARES = re.compile(
    r"nfs\d?|cifs|smb\d?|smbfs|afs|ncpfs|ceph|glusterfs|fuse\.(sshfs|glusterfs|rclone|s3fs|davfs)|davfs"
)


def real_path(path: Path | str) -> Path:
    """Return the ledger's own path, links followed, as its files lie beside it; LedgerError for a folder."""
    try:
        real = Path(path).resolve()
        if real.is_dir():
            raise LedgerError("ledger-is-folder", f"{path} is a folder; --ledger names a file.")
        real.exists()
        str(real).encode()
    except (OSError, ValueError, RuntimeError) as error:  # too long, not UTF-8, a circle of links
        why = error.strerror if isinstance(error, OSError) else "it is no name of a file here"
        raise LedgerError("bad-path", f"{path} can't be a ledger: {why}; give another --ledger.") from error
    return real


def refuse_untested_place(path: Path) -> None:
    """Raise LedgerError where writing to a ledger at `path` is not tested: another system, or a share."""
    if sys.platform != "linux":
        raise LedgerError(
            "untested-system",
            f"The ledger {path} can't be written here: so far that is tested on Linux only; run the server on"
            " a Linux machine and use it from here in a browser.",
        )
    kind = file_system(path)
    if SHARES.fullmatch(kind):
        raise LedgerError(
            "untested-share",
            f"The ledger {path} can't be written: it lies on a share of another machine ({kind}), where locks"
            " can fail; keep it on a disk of the machine that runs the server.",
        )


def file_system(path: Path) -> str:
    """Return the kind of file system that `path` lies on, "" where the system doesn't tell."""
    try:
        mounts = MOUNTS.read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return ""
    kind, longest = "", -1
    where = f"{path.resolve()}/"
    for line in mounts:
        fields = line.split(" ")
        if len(fields) < 3:
            continue
        # Blanks and the like are written as octal escapes.
        at = re.sub(r"\\(\d{3})", lambda code: chr(int(code[1], 8)), fields[1]).rstrip("/") + "/"
        if where.startswith(at) and len(at) >= longest:
            kind, longest = fields[2], len(at)
    return kind
