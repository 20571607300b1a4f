"""A hub with its page in a process of its own, fed once a second: python busy_page.py FOLDER; prints its address."""

import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from hub.web.smokehouse import Smokehouse  # noqa: E402

if __name__ == "__main__":
    house = Smokehouse(Path(sys.argv[1]))
    house.hang()
    house.cook(0.5)
    print(house.address, flush=True)
    while True:  # until the test ends it
        time.sleep(1.0)
        house.frame(house.cores(0.5, 6))
        house.hub.write()
        house.show()
