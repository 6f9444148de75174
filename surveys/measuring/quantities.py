"""The quantities that are measured at a visit, with their units and plausible ranges.

Ranges hold in the quantity's first unit; readings keep the unit they were typed in. Sources are said with each;
"common practice" means that no source stands behind a figure.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from types import MappingProxyType

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy as _

Range = tuple[Decimal, Decimal]

COMMON = _("Common practice, no source.")

# Molar masses: NO3 62.005 over N 14.007, PO4 94.971 over P 30.974.
NITRATE_PER_NITROGEN = Decimal("4.427")
PHOSPHATE_PER_PHOSPHORUS = Decimal("3.066")


@dataclass(frozen=True)
class Quantity:
    """One quantity. `units` maps each unit offered to the factor that turns it into `unit`."""

    key: str
    label: Promise
    unit: str
    error_range: Range
    finding_range: Range | None
    source: Promise | str
    help: Promise
    other_units: Mapping[str, Decimal] = field(default_factory=lambda: MappingProxyType({}))
    has_limit: bool = False

    @property
    def units(self) -> tuple[str, ...]:
        return (self.unit, *self.other_units)

    def in_first_unit(self, value: Decimal, unit: str) -> Decimal:
        """The value in `unit` converted for comparison with the ranges."""
        # Compared converted but kept as typed: rounding a kit's reading would invent precision.
        return value * self.other_units.get(unit, Decimal(1))

    def unit_named(self, text: str) -> str | None:
        """The unit somebody means; blank is the first one, None an unknown one."""
        wanted = _unit_key(text)
        return next((each for each in self.units if not wanted or _unit_key(each) == wanted), None)


def _unit_key(text: str) -> str:
    # Two different signs both look like a micro; people also write a plain u.
    plain = text.translate(str.maketrans("₄₃μµ-", "43uu "))
    return "".join(plain.casefold().split())


def _range(low: str, high: str) -> Range:
    return Decimal(low), Decimal(high)


_ALL = (
    Quantity(
        key="temperature",
        label=_("Water temperature"),
        unit="°C",
        error_range=_range("-1", "40"),
        finding_range=_range("0", "25"),
        source=COMMON,
        help=_("In the shade, when the reading has settled."),
    ),
    Quantity(
        key="ph",
        label=_("pH"),
        unit="pH",
        error_range=_range("0", "14"),
        finding_range=_range("6", "9"),
        source=_(
            "From memory: the 6 to 9 of the British standards under the Water Framework Directive; "
            "0 to 14 is the scale of pH."
        ),
        help=_("From a meter calibrated that day, or a test strip."),
    ),
    Quantity(
        key="conductivity",
        label=_("Conductivity at 25 °C"),
        unit="µS/cm",
        other_units=MappingProxyType({"mS/cm": Decimal(1000)}),
        error_range=_range("0", "60000"),
        finding_range=_range("50", "1500"),
        source=_(
            "50 to 1,500: U.S. EPA 1997, Volunteer Stream Monitoring: A Methods Manual, EPA 841-B-97-003, "
            "section 5.9 (streams with good mixed fisheries 150 to 500). 0 to 60,000: common practice, no "
            "source."
        ),
        help=_("From a meter that corrects for temperature."),
    ),
    Quantity(
        key="oxygen",
        label=_("Dissolved oxygen"),
        unit="mg/L",
        error_range=_range("0", "25"),
        finding_range=None,
        source=_("Common practice, no source; compared with saturation at the water's temperature."),
        help=_("Read the water temperature too, so that the saturation is known."),
    ),
    Quantity(
        key="oxygen_saturation",
        label=_("Oxygen saturation"),
        unit="%",
        error_range=_range("0", "250"),
        finding_range=_range("60", "120"),
        source=COMMON,
        help=_("As the meter shows it."),
    ),
    Quantity(
        key="turbidity",
        label=_("Turbidity"),
        unit="NTU",
        other_units=MappingProxyType({"FNU": Decimal(1)}),
        error_range=_range("0", "4000"),
        finding_range=_range("0", "100"),
        source=COMMON,
        help=_("From a turbidity meter."),
        has_limit=True,
    ),
    Quantity(
        key="nitrate",
        label=_("Nitrate"),
        unit="mg/L NO3",
        other_units=MappingProxyType({"mg/L N": NITRATE_PER_NITROGEN}),
        error_range=_range("0", "500"),
        finding_range=_range("0", "50"),
        source=_(
            "From memory: 50 mg/L of the Nitrates Directive (91/676/EEC). 0 to 500: common practice, no source."
        ),
        help=_("See on the kit whether it reads as NO3 or as N. Below its limit, write for example <0.5."),
        has_limit=True,
    ),
    Quantity(
        key="phosphate",
        label=_("Phosphate"),
        unit="mg/L PO4",
        other_units=MappingProxyType({"mg/L P": PHOSPHATE_PER_PHOSPHORUS}),
        error_range=_range("0", "50"),
        finding_range=_range("0", "3"),
        source=COMMON,
        help=_("See on the kit whether it reads as PO4 or as P. Below its limit, write for example <0.05."),
        has_limit=True,
    ),
)

QUANTITIES: Mapping[str, Quantity] = MappingProxyType({each.key: each for each in _ALL})
