"""Inject every fault and print what was survived, lost and written.

    python tests/faults/run_all.py            the short form, as in the tests: under a minute
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

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

from faults.row import Fault, table

MODULES = (
    "kills", "power_cuts", "log_files", "log_cuts", "card", "mqtt", "certificates", "twins", "serial_line",
    "display", "clocks", "fuzz",
)  # fmt: skip


def faults_of(modules: tuple[str, ...] = MODULES) -> Iterator[tuple[str, Fault]]:
    """The faults of these modules, by what the table calls them."""
    for module in modules:
        yield from import_module(f"faults.{module}").FAULTS.items()


def injected(name: str, fault: Fault, *, is_long: bool) -> tuple[bool, tuple[str, ...]]:
    """Whether all was well, and the table's row."""
    try:
        row = fault(is_long)
    except pytest.skip.Exception as skip:
        return True, (name, "-", "-", "-", "-", f"skipped: {skip.msg}")
    return row.is_good, (name, *row.cells())


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--long", action="store_true", help="as often as the figures to beat say")
    parser.add_argument("--only", nargs="+", choices=MODULES, default=MODULES, help="these modules")
    given = parser.parse_args()
    is_well, rows = True, []
    for name, fault in faults_of(tuple(given.only)):
        began_s = time.monotonic()
        is_good, row = injected(name, fault, is_long=given.long)
        is_well &= is_good
        rows.append(row)
        print(f"{time.monotonic() - began_s:6.0f} s", *row, sep="  ", file=sys.stderr, flush=True)
    print("\n".join(table(rows)))
    return 0 if is_well else 1


if __name__ == "__main__":
    sys.exit(main())
