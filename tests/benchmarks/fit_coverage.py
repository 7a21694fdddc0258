"""Coverage, bias and false wind of the fit over fresh outbreaks, beside the usual two-survey fit and known times.

    python tests/benchmarks/fit_coverage.py --store FILE                    go on where FILE ends, and print the table
    python tests/benchmarks/fit_coverage.py --store FILE --outbreaks 0      print the table of what is stored
    python tests/benchmarks/fit_coverage.py --store FILE --minutes 30 removals "no wind"

A line of the table: middle over truth (geometric mean), how many 50, 90 and 95 % intervals hold the truth, middle width of
the 95 % interval of the logarithm; how often the true wind lies in its joint 95 % region, how often a wind is found, and
how far its bearing is off on average.
"""

import argparse
import json
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from fit_outbreaks import SETTINGS, WINDLESS, line_of, read_store, told


def wanted(outbreaks, names):
    """Return which outbreaks are asked for, one of every setting before the next of any."""
    settings = [(name, False) for name in SETTINGS if not names or name in names]
    settings += [(name, True) for name in WINDLESS if not names or "no wind" in names]
    return [(name, seed, windless) for seed in range(outbreaks) for name, windless in settings]


def go_on(store, outbreaks, minutes, names):
    """Fit what is not stored yet until the time is over."""
    ends = time.monotonic() + 60 * minutes
    done = {(line["setting"], line["seed"], line["windless"]) for line in read_store(store)}
    for key in wanted(outbreaks, names):
        if key in done:
            continue
        if time.monotonic() > ends:
            print(f"{minutes:g} minutes are over; the same command goes on from here.")
            return
        with store.open("a", encoding="utf-8") as file:
            file.write(json.dumps(line_of(*key)) + "\n")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", help='settings, or "no wind"; default all')
    parser.add_argument("--store", type=Path, required=True, help="file of one line per outbreak")
    parser.add_argument("--outbreaks", type=int, default=40, help="outbreaks of each setting")
    parser.add_argument("--minutes", type=float, default=1e9, help="begin no outbreak later than this")
    asked = parser.parse_args()
    go_on(asked.store, asked.outbreaks, asked.minutes, asked.names)
    print("\n".join(told(read_store(asked.store))))
