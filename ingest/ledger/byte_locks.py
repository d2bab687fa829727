"""Locks on single bytes of a file, and numbers kept in it: what several programs take turns by.

The locks are those of an open file description (fcntl(2), "Open file description locks"), so they hold
between threads too, and end with the program that held them, however it ended.
"""

from __future__ import annotations

import os
import struct
from pathlib import Path
from types import ModuleType

fcntl: ModuleType | None
try:
    import fcntl
except ImportError:
    fcntl = None

HAS_LOCKS = fcntl is not None and hasattr(fcntl, "F_OFD_SETLK")
_FLOCK = "hhqqi4x"  # struct flock on 64-bit Linux: type, whence, start, length, process (0 for these locks)
_NUMBER = struct.Struct("<Q")


class ByteLocks:
    """One opening of a file of locks; closing it frees all that were taken by it."""

    def __init__(self, path: Path):
        self._handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)

    def take(self, at: int, *, shared: bool = False) -> bool:
        """Take the lock of byte `at` unless another holds it; return whether it was taken."""
        assert fcntl is not None
        try:
            self._ask(fcntl.F_OFD_SETLK, fcntl.F_RDLCK if shared else fcntl.F_WRLCK, at, 1)
        except (BlockingIOError, PermissionError):
            return False
        return True

    def free(self, at: int) -> None:
        """Let go of the lock of byte `at`."""
        assert fcntl is not None
        self._ask(fcntl.F_OFD_SETLK, fcntl.F_UNLCK, at, 1)

    def is_free(self, first: int, count: int = 1) -> bool:
        """Return whether no other opening holds a lock on any of `count` bytes from `first` on."""
        assert fcntl is not None
        if count < 1:  # a length of 0 would mean all that follow
            return True
        return self._ask(fcntl.F_OFD_GETLK, fcntl.F_WRLCK, first, count) == fcntl.F_UNLCK

    def number(self, at: int) -> int:
        """Return the number kept from byte `at` on, 0 where none is."""
        content = os.pread(self._handle, _NUMBER.size, at)
        return int(_NUMBER.unpack(content)[0]) if len(content) == _NUMBER.size else 0

    def put(self, at: int, number: int) -> None:
        """Keep a number from byte `at` on."""
        os.pwrite(self._handle, _NUMBER.pack(number), at)

    def close(self) -> None:
        """Free every lock."""
        os.close(self._handle)

    def _ask(self, command: int, kind: int, first: int, count: int) -> int:
        assert fcntl is not None
        asked = struct.pack(_FLOCK, kind, os.SEEK_SET, first, count, 0)
        answered: int = struct.unpack(_FLOCK, fcntl.fcntl(self._handle, command, asked))[0]
        return answered
