"""A child to try things with: does what the question says."""

import os
import signal
import time

from ingest.apart.serving_child import serve_frames


def answer(asked, body):
    """Die, dally, hoard, print or echo, as asked."""
    match asked["do"]:
        case "abort":
            os.abort()
        case "exit":
            os._exit(3)
        case "sleep":
            time.sleep(60)
        case "spin":
            while True:
                pass
        case "hoard":
            try:
                return {"held": len(bytearray(2**30))}, b""
            except MemoryError:
                return {"held": None}, b""
        case "print":
            print("not a frame", flush=True)
        case "kill parent's patience":
            os.kill(os.getpid(), signal.SIGSTOP)
    return {"pid": os.getpid()} | asked, body


if __name__ == "__main__":
    serve_frames(answer, memory_bytes=200 * 2**20, cpu_s=1.0)
