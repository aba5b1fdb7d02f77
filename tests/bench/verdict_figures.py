"""The figures that the verdict is judged by, over many invented scenarios.

    python tests/bench/verdict_figures.py --seeds 0:20
    python tests/bench/verdict_figures.py --seeds 10000:10050 --kinds es-short far-alone --jobs 2
    python tests/bench/verdict_figures.py --kinds dead-band --explain 7 --into somewhere

Seeds from 10,000 on are never looked at while the watch is tuned; quote figures from there only.
Aurora and tropo are shown by kind but stay outside the bars.

What the figures mean:

found            a reported opening points within 25 degrees of a true one (or within twice its spread, where
                 that is wider) and begins between the true one's first and last decode. Due are the openings
                 that meet the definition by their true decodes (``sentinel.rehearsal.truth``).
false opening    any reported in a scenario, or a part of one, in which nothing opens
spurious         one reported beside a true opening that fits none: a split, or a phantom. Two stations of an
                 area and a ping, or three of which one came once, are neither right nor wrong
delay            report minus due: the slot in which the third distinct true station within 15 minutes was
                 first decoded, or the third slot of a station beyond 4,000 km. Event time, in whole slots.
                 "since three were heard twice" starts when no doubt is left, so it is often negative
linger           from the last true decode to the state's leaving open, if it was open until then
flap             the state leaves open between due and the last true decode, though no silence of more than
                 seven minutes and a slot excuses it
bearing, km      the opening's last report against the circular mean over all its true stations, and against
                 the nearest and farthest of those whose locator was decoded, at their true places; counting
                 a true ping from the same direction is no error
heading          every five minutes while open: the best heading against the true stations of 15 minutes
mode             the last report's mode is one of those that the physics of the scenario allows
blind            state blind minus (last line, or last canary, plus the configured silence); recovery: the
                 state's leaving blind minus the first line, or canary, after
stirring, blind  minutes a day in that state in scenarios in which nothing is to be heard and nothing ails
"""

import argparse
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from verdict_drivers import Credit, by_core, by_replay, credit_given, stations_said
from verdict_table import rows, share

from sentinel.rehearsal.heard import Heard, Scenario
from sentinel.rehearsal.kinds import KINDS, build
from sentinel.rehearsal.logs import PLAIN, render, write_log
from sentinel.rehearsal.report import Report
from sentinel.rehearsal.scoring import Score, score


def run(kind: str, seed: int, through_text: bool) -> Score:
    """Build one scenario, let the watch judge it, score that."""
    scenario = build(kind, seed)
    return score(scenario, by_replay(scenario) if through_text else by_core(scenario))


def run_job(job: tuple[str, int, bool]) -> Score:
    """``run`` for a pool of processes."""
    return run(*job)


def print_credit(credits: Sequence[Credit]) -> None:
    """How soon true far stations are believed, and how many false calls ever are."""
    shares = [sum(each.believed_at.get(n, 0) for each in credits) for n in (1, 2, 3)]
    true = sum(each.true_stations for each in credits)
    print(f"true far stations heard twice within ten minutes: {true}; believed at the first decode ", end="")
    print(f"{share(shares[0], true)}, the second {share(shares[1], true)}, later {share(shares[2], true)}")
    false, believed = (
        sum(getattr(each, name) for each in credits) for name in ("false_calls", "false_believed")
    )
    print(f"false calls: {false}, ever believed {believed}; least trust in a believed true station ", end="")
    print(f"{min((each.least_trust for each in credits), default=1.0):.3f}")
    for each in credits:
        for call in each.examples:
            print(f"{each.kind} seed {each.seed}: believed the false {call}")


def explain(kind: str, seed: int, into: Path) -> None:
    """Write the log, each decode with its truth, the true openings and what the watch said, as text."""
    scenario = build(kind, seed)
    report = by_core(scenario)
    into.mkdir(parents=True, exist_ok=True)
    write_log(into / "decodes.log", scenario.heard)
    truths = (f"{render(PLAIN, line)}\t{_truth_of(line)}\n" for line in scenario.heard)
    (into / "truth.txt").write_text("".join(truths), "utf-8")
    (into / "said.txt").write_text("".join(_said(scenario, report)), "utf-8")
    (into / "stations.txt").write_text("".join(f"{row}\n" for row in stations_said(scenario)), "utf-8")
    print(f"{into}: decodes.log, truth.txt, said.txt, stations.txt")


def _truth_of(line: Heard) -> str:
    if line.station is None:
        return "own" if line.is_own else "FALSE"
    place = f"{line.station.locator} {line.distance_km:.0f} km {line.bearing_deg:.0f} deg"
    return f"{line.area} {line.station.call} {place}"


def _said(scenario: Scenario, report: Report) -> Iterator[str]:
    yield f"{scenario.kind} seed {scenario.seed} at {scenario.home.name} {scenario.home.locator}\n"
    for truth in scenario.openings:
        yield f"true {truth}\n"
    for opening in report.openings.values():
        yield f"said {opening}\n"
    for state in report.states:
        yield f"{time.strftime('%Y-%m-%dT%H:%M:%SZ', time.gmtime(state.at_s))} {state.state}\n"
    for complaint in score(scenario, report).complaints:
        yield f"complaint: {complaint}\n"


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the scenarios, print the complaints and the table; 0 whatever they say."""
    options = _parser().parse_args(arguments)
    kinds = options.kinds or list(KINDS)
    if options.explain is not None:
        for kind in kinds:
            explain(kind, options.explain, options.into / f"{kind}-{options.explain}")
        return 0
    if options.trust:
        print_credit([credit_given(build(kind, seed)) for kind in kinds for seed in options.seeds])
        return 0
    began = time.perf_counter()
    jobs = [(kind, seed, options.text) for kind in kinds for seed in options.seeds]
    if options.jobs > 1:
        with ProcessPoolExecutor(options.jobs) as pool:
            scores = list(pool.map(run_job, jobs, chunksize=4))
    else:
        scores = [run_job(job) for job in jobs]
    for each in scores:
        for complaint in each.complaints[: options.complaints]:
            print(f"{each.kind} seed {each.seed}: {complaint}")
    print(f"\n{len(scores)} scenarios, {sum(each.days for each in scores):.0f} days, seeds {options.seeds}")
    for figure, bar, measured in rows(scores):
        print(f"| {figure:38s} | {bar:11s} | {measured}")
    print(f"{time.perf_counter() - began:.0f} s")
    return 0


def _seeds(text: str) -> range:
    first, _, last = text.partition(":")
    return range(int(first), int(last) if last else int(first) + 1)


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument(
        "--seeds", type=_seeds, default=range(10), metavar="A:B", help="seeds A to B-1 (0:10)"
    )
    parser.add_argument(
        "--kinds", nargs="+", choices=list(KINDS), metavar="KIND", help=f"of {', '.join(KINDS)}"
    )
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    parser.add_argument(
        "--text", action="store_true", help="through text logs and the replay command: slower"
    )
    parser.add_argument("--trust", action="store_true", help="whom the watch believes, and when, instead")
    parser.add_argument("--complaints", type=int, default=3, help="shown of each scenario (3)")
    parser.add_argument(
        "--explain", type=int, metavar="SEED", help="write log, truth and verdicts of one seed"
    )
    parser.add_argument("--into", type=Path, default=Path("explained"), help="directory for --explain")
    return parser


if __name__ == "__main__":
    sys.exit(main())
