"""The date that a file's name says, for logs whose lines hold only a time of day."""

import re
from datetime import date

# year first with any separator or none; day first with separators; two-digit year first, six digits
_FORMS = (
    re.compile(r"(?<![0-9])(?P<Y>20[0-9]{2})(?P<s>[-_. ]?)(?P<m>[0-9]{2})(?P=s)(?P<d>[0-9]{2})(?![0-9])"),
    re.compile(r"(?<![0-9])(?P<Y>20[0-9]{2})(?P<m>[0-9]{2})(?P<d>[0-9]{2})(?=[0-9]{4,6}(?![0-9]))"),
    re.compile(r"(?<![0-9])(?P<d>[0-9]{2})(?P<s>[-_. ])(?P<m>[0-9]{2})(?P=s)(?P<Y>20[0-9]{2})(?![0-9])"),
    re.compile(r"(?<![0-9])(?P<y>[0-9]{2})(?P<s>[-_. ]?)(?P<m>[0-9]{2})(?P=s)(?P<d>[0-9]{2})(?![0-9])"),
)


def date_in_name(name: str) -> date | None:
    """The first calendar date in ``name``, ``None`` if it has none: ``2026-06-01.log``, ``rx_260601.txt``."""
    for form in _FORMS:
        for found in form.finditer(name):
            groups = found.groupdict()
            year = int(groups["Y"]) if groups.get("Y") else 2000 + int(groups["y"])
            try:
                return date(year, int(groups["m"]), int(groups["d"]))
            except ValueError:  # 99 is no month: digits that are no date
                continue
    return None
