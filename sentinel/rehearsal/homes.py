"""The places that scenarios are told from, and when the sky is right there."""

import random
from datetime import UTC, datetime, timedelta

from sentinel.rehearsal.heard import Home

FN84 = Home("Halifax", "FN84ab", "VE1QZZ")
EVERYWHERE = (
    FN84,
    Home("Boston", "FN42ik", "W1QZZ"),
    Home("Atlanta", "EM73xu", "W4QZZ"),
    Home("Dallas", "EM12ou", "K5QZZ"),
    Home("San Francisco", "CM87vq", "K6QZZ"),
    Home("Lyon", "JN25kr", "F5QZZ"),
    Home("Munich", "JN58td", "DL5QZZ"),
    Home("Leeds", "IO93es", "G4QZZ"),
    Home("Helsinki", "KP20le", "OH2QZZ"),
    Home("Athens", "KM17ux", "SV1QZZ"),
    Home("Limassol", "KM64mq", "5B4QZZ"),
    Home("Tokyo", "PM95vq", "JA1QZZ"),
    Home("Naha", "PL36te", "JR6QZZ"),
    Home("San Juan", "FK68wk", "KP4QZZ"),
    Home("Melbourne", "QF22le", "VK3QZZ"),
    Home("Brisbane", "QG62mm", "VK4QZZ"),
    Home("Auckland", "RF73jc", "ZL1QZZ"),
    Home("Johannesburg", "KG33xt", "ZS6QZZ"),
    Home("Buenos Aires", "GF05rj", "LU1QZZ"),
    Home("Curitiba", "GG54iu", "PY5QZZ"),
)
_YEARS = (2023, 2024, 2025, 2026)


def by_name(name: str) -> Home:
    """The home of that name; StopIteration for none such."""
    return next(home for home in EVERYWHERE if home.name == name)


def any_home(rng: random.Random) -> Home:
    """One home in four is the Nova Scotian one, the rest are spread over the world."""
    return FN84 if rng.random() < 0.25 else rng.choice(EVERYWHERE)


def moment(rng: random.Random, months: tuple[int, ...], local_hour: float, lon_deg: float) -> float:
    """Seconds since 1970 of a random day in one of the months, at a solar hour of a longitude."""
    day = datetime(rng.choice(_YEARS), rng.choice(months), rng.randint(1, 28), tzinfo=UTC)
    return (day + timedelta(hours=(local_hour - lon_deg / 15.0) % 24.0)).timestamp()


def es_months(lat_deg: float) -> tuple[int, ...]:
    """May to August in the north, November to January in the south (Whitehead 1989; common practice)."""
    return (5, 6, 7, 8) if lat_deg >= 0.0 else (11, 12, 1)


def es_hour(rng: random.Random) -> float:
    """Solar time at the midpoint: most from mid-morning to noon, fewer in late afternoon (practice)."""
    return rng.gauss(10.8, 1.8) if rng.random() < 0.6 else rng.gauss(17.5, 1.5)
