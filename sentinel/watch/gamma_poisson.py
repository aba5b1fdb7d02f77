"""Counting rare events whose rate is not known: the gamma-Poisson model (negative binomial), pure.

A rate is what a published prior expects times a factor that is one on average and not known exactly: a gamma
distribution. After ``count`` events where the prior expected ``expected`` the factor is again a gamma
(Gelman et al., Bayesian Data Analysis, 2.6, from memory)::

    shape + count, rate + expected        so its mean is (shape + count) / (rate + expected)

In hours: where the prior rate is l an hour, a factor of shape and rate a counts like w = a / l hours of
watching, and the posterior rate (w l + events) / (w + hours) is the usual weighted mean. The chance of no
event at all where m are expected is the negative binomial's (1 + m / shape) ** -shape, more than exp(-m):
events that come in spells leave more empty days than a steady rate does.
"""

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Factor:
    """How many times what the prior expects: a gamma distribution of this shape and rate, both above 0."""

    shape: float
    rate: float

    @property
    def mean(self) -> float:
        return self.shape / self.rate

    def after(self, count: float, expected: float) -> "Factor":
        """What is known after ``count`` events where the prior expected ``expected``."""
        return Factor(self.shape + count, self.rate + expected)


def about_one(shape: float) -> Factor:
    """One on average, and within a factor of about exp(1 / sqrt(shape)) of it."""
    return Factor(shape, shape)


def chance_of_any(expected: float, *factors: Factor) -> float:
    """The chance of at least one event where ``expected`` times all ``factors`` are expected, in [0, 1).

    The factors are taken as independent, and their product as the gamma of the same mean and variance.
    """
    mean = expected * math.prod(factor.mean for factor in factors)
    spread = math.prod(1.0 + 1.0 / factor.shape for factor in factors) - 1.0
    if spread <= 0.0:
        return -math.expm1(-mean)
    return -math.expm1(-math.log1p(mean * spread) / spread)
