"""Luck as a function of names: the same question has the same answer, whoever asks it and when.

Every random number is a hash of (seed, keys, purpose), keys being whole numbers such as unit, pump life and
visit day. Nothing is drawn from a running generator, so a policy that changes one pump's fate leaves all
other luck as it was, and two policies differ only by what they do.
"""

from __future__ import annotations

import zlib
from functools import cache

import numpy as np
from scipy.special import ndtri

_GAMMA = np.uint64(0x9E3779B97F4A7C15)
_M1, _M2 = np.uint64(0xBF58476D1CE4E5B9), np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31, _S12 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(12)


def _mix(z: np.ndarray) -> np.ndarray:
    """The finishing mix of SplitMix64 (Steele, Lea and Flood 2014; constants from memory); changes z."""
    z ^= z >> _S30
    z *= _M1
    z ^= z >> _S27
    z *= _M2
    z ^= z >> _S31
    return z


@cache
def _named(purpose: str) -> np.uint64:
    return _mix(np.array([zlib.crc32(purpose.encode())], dtype=np.uint64) + _GAMMA)[0]


class Keyed:
    """Luck of given keys; one number for each purpose."""

    def __init__(self, bits: np.ndarray, scalar: bool):
        self.bits, self.scalar = bits, scalar

    def uniform(self, purpose: str) -> np.ndarray:
        """Uniform in the open interval (0, 1)."""
        z = _mix(self.bits ^ _named(purpose)) >> _S12
        u = (z.astype(np.float64) + 0.5) * 2.0**-52
        return u[0] if self.scalar else u

    def normal(self, purpose: str) -> np.ndarray:
        """Standard normal."""
        return ndtri(self.uniform(purpose))

    def lognormal(self, spread: object, purpose: str) -> np.ndarray:
        """Lognormal with median 1."""
        return np.exp(np.asarray(spread) * self.normal(purpose))

    def exponential(self, purpose: str) -> np.ndarray:
        """Exponential with mean 1."""
        return -np.log(self.uniform(purpose))

    def choice(self, weights: object, purpose: str) -> np.ndarray:
        """Index drawn with the given weights."""
        edges = np.cumsum(np.asarray(weights, dtype=float))
        u = self.uniform(purpose) * edges[-1]
        return np.minimum(np.searchsorted(edges, u, side="right"), edges.size - 1)


class Luck:
    """All random numbers of one world. Keys broadcast against each other."""

    def __init__(self, seed: int):
        self.seed = int(seed)
        self._root = _mix(np.array([self.seed], dtype=np.int64).astype(np.uint64) * _GAMMA + _GAMMA)

    def at(self, *keys: object) -> Keyed:
        """Luck of these keys."""
        z = self._root
        for key in keys:
            whole = np.asarray(key)
            whole = (
                whole.astype(np.int64, copy=False).view(np.uint64)
                if whole.ndim
                else np.uint64(int(key) % 2**64)
            )
            z = _mix((z ^ whole) + _GAMMA)
        return Keyed(z, not any(np.ndim(key) for key in keys))

    def uniform(self, purpose: str, *keys: object) -> np.ndarray:
        """Uniform in the open interval (0, 1)."""
        return self.at(*keys).uniform(purpose)

    def normal(self, purpose: str, *keys: object) -> np.ndarray:
        """Standard normal."""
        return self.at(*keys).normal(purpose)

    def lognormal(self, spread: object, purpose: str, *keys: object) -> np.ndarray:
        """Lognormal with median 1."""
        return self.at(*keys).lognormal(spread, purpose)

    def exponential(self, purpose: str, *keys: object) -> np.ndarray:
        """Exponential with mean 1."""
        return self.at(*keys).exponential(purpose)

    def choice(self, weights: object, purpose: str, *keys: object) -> np.ndarray:
        """Index drawn with the given weights."""
        return self.at(*keys).choice(weights, purpose)
