"""What an archive says as a whole: whose it is, on what terms, and how exactly places are told."""

from __future__ import annotations

import math
import uuid
from dataclasses import dataclass
from decimal import Decimal

from portal.accounts.models import Group
from surveys.exporting.models import PublishingTerms
from surveys.models import Site, Visit
from surveys.submission.writing import position_of
from surveys.visits.positions import standing

# Half a degree's cell, corner to centre, where a degree is longest: 111.32 km along the equator.
_METRES_OF_DEGREE = 111_320
# Numbers made from others stay the same in every archive; this keeps ours apart from everybody's.
NUMBERS = uuid.UUID("0c1a7a0e-6b43-4d6c-8d21-7a6f0f6a9b52")


def urn(number: uuid.UUID | str) -> str:
    """A number as an identifier that is unique everywhere."""
    return f"urn:uuid:{number}"


def number_of(*parts: object) -> str:
    """The identifier of something that has no number of its own, the same in every archive."""
    return urn(uuid.uuid5(NUMBERS, "\n".join(map(str, parts))))


@dataclass(frozen=True)
class Place:
    """Where an event was, in WGS84 degrees as text, and how far off that may be, in metres; None: not known."""

    latitude: str
    longitude: str
    uncertainty_m: int | None


@dataclass(frozen=True)
class Dataset:
    """The archive's group with its terms and where its page is."""

    group: Group
    terms: PublishingTerms
    page: str

    @property
    def number(self) -> str:
        return urn(self.group.pk)

    @property
    def name(self) -> str:
        return f"River invertebrates sampled by {self.group.name}"

    @property
    def holder(self) -> str:
        """How the group is to be named."""
        return self.terms.attribution or self.group.name

    @property
    def is_blurred(self) -> bool:
        return bool(self.terms.blur)

    def place_of(self, site: Site) -> Place:
        """The site's place, rounded as the group wishes; what rounding took away counts as uncertainty."""
        if not self.is_blurred:
            # Five decimals are a metre: finer than any precision a site can have.
            return Place(f"{site.latitude:.5f}", f"{site.longitude:.5f}", max(site.location_precision_m, 1))
        step = Decimal(self.terms.blur)
        half_diagonal = float(step) / 2 * math.sqrt(2) * _METRES_OF_DEGREE
        uncertainty = math.ceil(half_diagonal) + site.location_precision_m
        return Place(_rounded(site.latitude, step), _rounded(site.longitude, step), uncertainty)

    def tells_position(self, visit: Visit) -> bool:
        """Whether the archive tells where this very visit was made, and not only where its site is.

        Never where the group hides exact places; nor where the position lies away from the site: it may be that
        of the kitchen table at which the visit was typed.
        """
        position = position_of(visit)
        return not self.is_blurred and position is not None and not standing(position, visit.site).is_far

    def place_of_visit(self, visit: Visit) -> Place:
        """The confirmed position of the visit where it may be told, else the place of its site."""
        position = position_of(visit)
        if position is None or not self.tells_position(visit):
            return self.place_of(visit.site)
        return Place(f"{position.latitude:.5f}", f"{position.longitude:.5f}", position.accuracy_m)


def _rounded(degrees: float, step: Decimal) -> str:
    return str((Decimal(str(degrees)) / step).quantize(Decimal(1)) * step)
