"""One harness under atheris: `python harness.py NAME [libFuzzer's options]`, in a tree given by PYTHONPATH.

The code under test is instrumented, so that input that reaches a new branch is kept and changed further. Changes are
mostly by structure (`mutate`), else libFuzzer's own.
"""

import random
import sys
import warnings

import atheris

warnings.simplefilter("ignore")
with atheris.instrument_imports(include=["fiftyover", "fiftyover_kit"]):
    from fuzz import mutate
    from fuzz.targets import alone

    TARGET = alone(sys.argv[1])


def main():
    def by_structure(data, max_size, seed):
        rng = random.Random(seed)
        if rng.random() < 0.2:
            return atheris.Mutate(data, max_size)
        return mutate.mutated(data, rng)[:max_size]

    atheris.Setup([sys.argv[0], *sys.argv[2:]], TARGET, custom_mutator=by_structure)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
