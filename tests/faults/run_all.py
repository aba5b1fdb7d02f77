"""Inject every fault and print what was survived, lost and written.

    python tests/faults/run_all.py            the short form, as in the tests: half a minute
    python tests/faults/run_all.py --long     300 kills, 200 power cuts, 10 million lines ...: about an hour
    python tests/faults/run_all.py --only power_cuts clocks --long

Exits 1 if anything was not survived or lost that could be kept. What the machine does not allow (mounting a
file system, a broker that is not installed) is skipped with its reason.
"""

import argparse
import sys
import time
from collections.abc import Iterator
from importlib import import_module
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.row import Row, table

FAULTS = ("kills", "power_cuts", "log_files")


def rows_of(name: str, *, is_long: bool) -> Iterator[Row]:
    """The rows of one module of faults."""
    yield from import_module(f"faults.{name}").rows(is_long=is_long)


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--long", action="store_true", help="as often as the figures to beat say")
    parser.add_argument("--only", nargs="+", choices=FAULTS, default=FAULTS)
    given = parser.parse_args()
    done: list[Row] = []
    for name in given.only:
        began_s = time.monotonic()
        for row in rows_of(name, is_long=given.long):
            done.append(row)
            took = f"{time.monotonic() - began_s:6.0f} s"
            print(took, *row.cells(), sep="  ", file=sys.stderr, flush=True)
    print("\n".join(table(done)))
    return 0 if all(row.is_good for row in done) else 1


if __name__ == "__main__":
    sys.exit(main())
