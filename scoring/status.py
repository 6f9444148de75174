"""The status class of WHPT against what an agency expects at an unspoilt site (tables/status_limits.csv).

The expected values come from the agency's own prediction model: none is held here, so a class is given only
where somebody brings them. Bias correction and the averaging of a year's samples are left to the agency.
"""

import math
from dataclasses import dataclass

from scoring.tables import read_table


@dataclass(frozen=True)
class Expected:
    """Mean value per taxon and number of WHPT taxa at the unspoilt site; both above 0, else ValueError."""

    mean: float
    taxa: float

    def __post_init__(self) -> None:
        if not all(math.isfinite(one) and one > 0 for one in (self.mean, self.taxa)):
            raise ValueError("expected values are numbers above 0")


@dataclass(frozen=True)
class Status:
    """Observed over expected for both, the class of each, and the worse of the two, which decides."""

    mean_ratio: float
    taxa_ratio: float
    mean_class: str
    taxa_class: str
    overall: str


def status_of(mean: float, taxa: float, expected: Expected) -> Status:
    """Return the status of an observed mean and number of taxa. A class holds at its lower limit, unrounded."""
    ratios = (mean / expected.mean, taxa / expected.taxa)
    names = [row["class"] for row in read_table("status_limits")]
    classes = (_class_of(ratios[0], "mean_ratio"), _class_of(ratios[1], "taxa_ratio"))
    return Status(*ratios, *classes, max(classes, key=names.index))


def _class_of(ratio: float, column: str) -> str:
    rows = read_table("status_limits")
    # Tolerant animals can bring the mean below 0: that is the last class as well.
    return next((row["class"] for row in rows if ratio >= float(row[column])), rows[-1]["class"])
