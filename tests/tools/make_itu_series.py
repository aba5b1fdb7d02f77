"""Make ``sentinel/trade/data/itu_series.csv``: the call sign series of ITU Radio Regulations, Appendix 42.

Run from the root of the checkout, when the ITU has allotted a series (openpyxl comes with callsign-regex)::

    pip install -U callsign-regex && python tests/tools/make_itu_series.py

The rows are the ITU's own sheet as the package ``callsign-regex`` carries it. Neighbouring rows of one
administration are joined; formal names are shortened: "Venezuela (Bolivarian Republic of)" to "Venezuela".
"""

import csv
import re
from importlib.resources import files
from io import BytesIO, StringIO
from itertools import groupby
from pathlib import Path

from openpyxl import load_workbook

TARGET = Path(__file__).parents[2] / "sentinel/trade/data/itu_series.csv"
ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789"


def sheet_rows() -> list[tuple[str, str, str]]:
    """First and last series of three characters, and the administration, as the sheet has them."""
    (sheet,) = (f for f in files("itu_appendix42.resources").iterdir() if f.name.endswith(".xlsx"))
    rows = load_workbook(BytesIO(sheet.read_bytes())).active.iter_rows(min_row=2, values_only=True)
    return [(*str(series).split(" - "), str(name)) for series, name in rows]  # type: ignore[misc]


def administrations() -> dict[str, str]:
    """Short prefix to administration: two characters, three where a series is split (3D, SS).

    PJ belongs to three administrations at once; their names are joined by a stroke.
    """
    found: dict[str, set[str]] = {}
    for first, last, formal_name in sheet_rows():
        assert first[:2] == last[:2], "the sheet used to have one row for each two characters"
        is_whole = (first[2], last[2]) == ("A", "Z")
        letters = ALPHABET[ALPHABET.index(first[2]) : ALPHABET.index(last[2]) + 1]
        for key in [first[:2]] if is_whole else [first[:2] + letter for letter in letters]:
            found.setdefault(key, set()).add(re.sub(r" \([^)]*\)", "", formal_name))
    return {key: " / ".join(sorted(names)) for key, names in found.items()}


def table() -> str:
    """The file's text: first and last prefix of each run that one administration holds."""
    by_order = sorted(administrations().items(), key=lambda item: [ALPHABET.index(c) for c in item[0]])

    def run(numbered: tuple[int, tuple[str, str]]) -> tuple[str, int, str, int]:
        number, (key, name) = numbered
        return key[:-1], len(key), name, ALPHABET.index(key[-1]) - number

    lines = StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    writer.writerow(("first", "last", "administration"))
    for (_, _, name, _), members in groupby(enumerate(by_order), key=run):
        keys = [key for _, (key, _) in members]
        writer.writerow((keys[0], keys[-1], name))
    return lines.getvalue()


if __name__ == "__main__":
    TARGET.write_text(table(), "utf-8")
