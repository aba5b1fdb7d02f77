"""The golden replays: make their logs, or write anew what the replay says of them.

    python tests/tools/make_golden.py --update              after a change that is meant to change records
    python tests/tools/make_golden.py --update NAME ...     only these
    python tests/tools/make_golden.py --logs                make the logs that are not there yet
    python tests/tools/make_golden.py --logs NAME ...       make these again

A log that showed a bug is added by hand: NAME.log and NAME.toml (its first three lines of comment as in the
others), then ``--update``. Look at what changed before committing it.
"""

import argparse
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from golden_lines import line_logs
from golden_rehearsed import rehearsed_logs
from golden_replay import FOLDER, Case, cases, difference, records_of, replayed
from golden_senders import sender_logs
from golden_verdicts import verdict_logs


def make_logs(names: list[str]) -> int:
    """Write the logs that are missing, or those named; the number written."""
    written = 0
    for log in (*rehearsed_logs(), *line_logs(), *sender_logs(), *verdict_logs()):
        if log.name in names or not (names or Case(log.name).config.exists()):
            log.write(FOLDER)
            written += 1
    print(f"{written} logs written")
    return 0 if written or not names else 1


def update(names: list[str]) -> int:
    """Write the expectations of all cases or those named, and say what changed; 1 if a promise is broken."""
    chosen = [case for case in cases() if not names or case.name in names]
    changed = broken = 0
    for case in chosen:
        found = replayed(case)
        expected = case.expected.read_text("utf-8") if case.expected.exists() else ""
        if found != expected:
            changed += 1
            print(f"{case.name}: {len(expected.splitlines())} -> {len(found.splitlines())} records")
            print("".join(f"    {line[:160]}\n" for line in difference(expected, found, 4)), end="")
            case.expected.write_text(found, "utf-8")
        if claims := case.broken_promises(records_of(found)):
            broken += 1
            print(f"{case.name}: MUST HOLD BUT DOES NOT: {', '.join(claims)}")
    print(f"{len(chosen)} replayed, {changed} changed, {broken} break their promise")
    return 1 if broken or not chosen else 0


def main() -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    action = parser.add_mutually_exclusive_group(required=True)
    action.add_argument("--update", action="store_true", help="write the expectations anew")
    action.add_argument("--logs", action="store_true", help="make logs")
    parser.add_argument("names", nargs="*", metavar="NAME")
    given = parser.parse_args()
    return update(given.names) if given.update else make_logs(given.names)


if __name__ == "__main__":
    sys.exit(main())
