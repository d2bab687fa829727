"""Seeded damage to files: bytes flipped, cut, repeated, swapped, or struck with tokens that hurt parsers."""

from __future__ import annotations

import numpy as np

TOKENS = (
    *(b"", b",", b";", b"\t", b"\n", b"\r\n", b'"', b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"-", b"+", b"e"),
    *(b"E+999", b"1e308", b"-1e-320", b"9.91E37", b"nan", b"inf", "∞".encode(), b"****", b"0x10", b"1_000"),
    *(b"1,234.5", "µ".encode(), b"\xb5", b"(mV)", b"(Hz)", b"#", b"%", b"=", b"Sample Interval,0"),
    *(b"Sample Rate,-1", b"Increment", b"12:34:56.7", b"2026-02-30", b"99999999999999999999", b"  "),
    *(b"\xed\xa0\x80", b"PK\x03\x04", b"\x93NUMPY", b"RIFF", b"PAR1", b"\x1f\x8b\x08", b"\x7f\xff\xff\xff"),
    b"'shape': (4000000000,)",
)


def mutate(data: bytes, rng: np.random.Generator) -> bytes:
    """Return `data` after one to eight random injuries, most of them near the start, where headers stand."""
    damaged = bytearray(data)
    for _ in range(int(rng.integers(1, 9))):
        if not damaged:
            break
        reach = len(damaged) if rng.random() < 0.4 else min(len(damaged), 600)
        place = int(rng.integers(0, reach))
        kind = int(rng.integers(0, 9))
        span = int(rng.integers(1, 40))
        if kind == 0:
            damaged[place] = int(rng.integers(0, 256))
        elif kind == 1:
            damaged[place] ^= 1 << int(rng.integers(0, 8))
        elif kind == 2:
            del damaged[place : place + span]
        elif kind == 3:
            damaged[place:place] = TOKENS[int(rng.integers(0, len(TOKENS)))]
        elif kind == 4:
            token = TOKENS[int(rng.integers(0, len(TOKENS)))]
            damaged[place : place + len(token)] = token
        elif kind == 5:
            damaged[place:place] = bytes(damaged[place : place + span]) * int(rng.integers(1, 30))
        elif kind == 6:
            other = int(rng.integers(0, len(damaged)))
            damaged[place : place + span], damaged[other : other + span] = (
                damaged[other : other + span],
                damaged[place : place + span],
            )
        elif kind == 7:
            del damaged[int(rng.integers(0, len(damaged))) :]
        else:
            old, new = (bytes([int(b)]) for b in rng.choice(list(b",;.\t\n e-+:05"), 2))
            damaged[place : place + 400] = bytes(damaged[place : place + 400]).replace(old, new)
    return bytes(damaged)
