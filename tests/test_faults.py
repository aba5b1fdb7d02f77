"""Faults injected a few times each; ``python tests/faults/run_all.py --long`` injects them often."""

from pathlib import Path

import pytest
from faults.row import Fault, Row, table
from faults.run_all import faults_of

FAULTS = dict(faults_of())


@pytest.mark.parametrize("fault", FAULTS.values(), ids=FAULTS)
def test_a_fault_is_survived_and_costs_nothing_that_could_be_kept(fault: Fault) -> None:
    row = fault(False)
    assert row.is_good, row


def test_each_fault_has_its_row_in_the_table_for_developers() -> None:
    text = (Path(__file__).parents[1] / "DEVELOPERS.md").read_text("utf-8").replace("`", "")
    rows = text.partition("### What was injected")[2].partition("\n## ")[0].splitlines()
    assert [row.split(" | ")[0] for row in rows if row.startswith("| ")][1:] == [
        f"| {name}" for name in FAULTS
    ]


@pytest.mark.parametrize(
    "row",
    [Row(3, 2), Row(3, 3, lost=1), Row(3, 3, lost=2, inherent=1), Row(0, 0)],
    ids=["not survived", "lost", "more lost than inherent", "nothing injected"],
)
def test_a_row_that_is_not_good_says_so_in_the_table(row: Row) -> None:
    assert not row.is_good
    assert "FAILED" in list(table([("a fault", *row.cells())]))[1]


def test_the_columns_of_the_table_stand_under_their_heads() -> None:
    head, first, second = table(
        [("a fault", *Row(1, 1).cells()), ("another", *Row(1_000, 1_000, 0, 123_456).cells())]
    )
    assert head.split() == ["fault", "injected", "survived", "lost", "written"]
    assert (first.split(), second.split()[-1]) == (["a", "fault", "1", "1", "-", "-"], "kB")
    assert first.index("1  ") == second.index("1,000") + 4
