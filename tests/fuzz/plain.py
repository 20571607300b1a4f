"""A harness without atheris: `python plain.py NAME SECONDS SEED` changes the seeds at random until something breaks.

Exit code 0: nothing did; 77: a promise was broken or a fault came out, told on stderr with the input.
"""

import random
import sys
import time
import traceback

from fuzz import mutate, seeds
from fuzz.targets import alone


def main(name, seconds, seed):
    aim, rng, pool = alone(name), random.Random(seed), seeds.of(name)
    until_s = time.monotonic() + seconds
    count = 0
    while time.monotonic() < until_s:
        data = pool[count] if count < len(pool) else mutate.mutated(rng.choice(pool), rng)
        count += 1
        try:
            aim(data)
        except Exception:
            traceback.print_exc()
            print(f"input {count}: {data[:2000]!r}", file=sys.stderr)
            return 77
    print(count)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], float(sys.argv[2]), int(sys.argv[3])))
