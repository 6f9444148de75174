"""The invented catchment of the River Quillet: its groups, sites and people. Nothing and nobody here is real.

Coordinates lie somewhere in the British uplands, so that grid references and maps have something to show; no
river of these names runs there.
"""

from __future__ import annotations

from dataclasses import dataclass

from portal.accounts.models import Role

PASSWORD = "nine-kicks-by-three"  # noqa: S105  printed by the command, for invented people only
INVENTED = "This site is invented for the demonstration: do not go there."


@dataclass(frozen=True)
class PersonPlan:
    """Somebody with an account; `show_name` says whether the yearly report may thank them by name."""

    name: str
    role: str = Role.VOLUNTEER
    show_name: bool = True
    phone: str = ""

    @property
    def email(self) -> str:
        return f"{self.name.split()[0].lower()}@quillet.example"


@dataclass(frozen=True)
class ContactPlan:
    """A contact at an agency, with an account or without."""

    name: str
    phone: str
    has_account: bool = False
    organisation: str = "Vale Water Regulator"

    @property
    def email(self) -> str:
        return f"{self.name.split()[0].lower()}@vale-water.example"


@dataclass(frozen=True)
class SitePlan:
    """A site; `reach` is the kind of river (`fauna.REACHES`), `downstream` the code of the next site."""

    code: str
    name: str
    river: str
    latitude: float
    longitude: float
    reach: str
    downstream: str = ""


@dataclass(frozen=True)
class Episode:
    """Trouble at a site so many monthly visits ago, and how it ended (`stories.STORIES`)."""

    site: str
    months_ago: int
    story: str


@dataclass(frozen=True)
class GroupPlan:
    """A group with all that belongs to it. `counts_in_ranges` is how its people write larger numbers."""

    slug: str
    name: str
    about: str
    index: str
    people: tuple[PersonPlan, ...]
    contacts: tuple[ContactPlan, ...]
    sites: tuple[SitePlan, ...]
    episodes: tuple[Episode, ...]
    counts_in_ranges: bool = False
    is_public: bool = True
    hold_hours: int = 0

    @property
    def coordinators(self) -> list[PersonPlan]:
        return [each for each in self.people if each.role == Role.COORDINATOR]


OPERATOR = PersonPlan("Odile Marsh")

HEADWATERS = GroupPlan(
    slug="quillet-headwaters",
    name="Quillet Headwaters Watch",
    about="Neighbours from four villages who have kicked the same riffles of the upper Quillet every month.",
    index="aspt",
    people=(
        PersonPlan("Hester Vane", Role.COORDINATOR, phone="01632 960 201"),
        PersonPlan("Ambrose Tully", Role.COORDINATOR),
        PersonPlan("Vera Linnet"),
        PersonPlan("Kofi Barrow"),
        PersonPlan("Maud Ferrier", show_name=False),
        PersonPlan("Tomas Quill"),
        PersonPlan("Ines Calder"),
    ),
    contacts=(
        ContactPlan("Petra Stroud", "01632 960 101", has_account=True),
        ContactPlan("Duncan Weir", "01632 960 102"),
    ),
    sites=(
        SitePlan("QH1", "Sheepfold riffle", "River Quillet", 54.4712, -2.6104, "upland", "QH2"),
        SitePlan("QH2", "Below the creamery", "River Quillet", 54.4581, -2.5962, "upland", "QH4"),
        SitePlan("QH3", "Fennock stepping stones", "Fennock Beck", 54.4497, -2.6251, "upland", "QH4"),
        SitePlan("QH4", "Two waters", "River Quillet", 54.4402, -2.5925, "middle", "QH5"),
        SitePlan("QH5", "Tithe barn bend", "River Quillet", 54.4263, -2.5781, "middle"),
    ),
    episodes=(
        Episode("QH2", 20, "traced"),
        Episode("QH5", 16, "mistaken"),
        Episode("QH4", 14, "repeat_fine"),
        Episode("QH3", 9, "natural"),
        Episode("QH5", 5, "suspected"),
        Episode("QH4", 0, "acknowledged"),
        Episode("QH2", 0, "open"),
    ),
)

THRAPPLE = GroupPlan(
    slug="thrapple-brook",
    name="Thrapple Brook Volunteers",
    about="An angling club and a school keep an eye on the Thrapple from its springs to the Quillet.",
    index="aspt",
    people=(
        PersonPlan("Wren Halloway", Role.COORDINATOR, phone="01632 960 202"),
        PersonPlan("Idris Penny", Role.COORDINATOR),
        PersonPlan("Saoirse Lamb"),
        PersonPlan("Bruno Thatcher"),
        PersonPlan("Lottie Crane", show_name=False),
        PersonPlan("Vera Linnet"),
    ),
    contacts=(
        ContactPlan("Petra Stroud", "01632 960 101", has_account=True),
        ContactPlan("Agnes Moor", "01632 960 103"),
    ),
    sites=(
        SitePlan("TB1", "Spring heads", "Thrapple Brook", 54.4188, -2.6502, "upland", "TB2"),
        SitePlan("TB2", "Old tannery", "Thrapple Brook", 54.4101, -2.6307, "middle", "TB3"),
        SitePlan("TB3", "School meadow", "Thrapple Brook", 54.4040, -2.6093, "middle", "TB4"),
        SitePlan("TB4", "Thrapple mouth", "Thrapple Brook", 54.3996, -2.5890, "lowland"),
    ),
    episodes=(
        Episode("TB2", 18, "silent"),
        Episode("TB3", 11, "traced"),
        Episode("TB4", 4, "repeat_fine"),
        Episode("TB3", 0, "acknowledged"),
    ),
    counts_in_ranges=True,
    hold_hours=12,
)

LOWER = GroupPlan(
    slug="lower-quillet",
    name="Lower Quillet Sampling Group",
    about="Retired engineers and their grandchildren, on the slow water above the tide.",
    index="bmwp",
    people=(
        PersonPlan("Gwen Ashdown", Role.COORDINATOR, phone="01632 960 203"),
        PersonPlan("Rufus Oake", Role.COORDINATOR),
        PersonPlan("Noor Peverell"),
        PersonPlan("Elias Burdock"),
        PersonPlan("Wren Halloway"),
    ),
    contacts=(ContactPlan("Agnes Moor", "01632 960 103"), ContactPlan("Duncan Weir", "01632 960 102")),
    sites=(
        SitePlan("LQ1", "Osier beds", "River Quillet", 54.3922, -2.5716, "middle", "LQ2"),
        SitePlan("LQ2", "Ropewalk", "River Quillet", 54.3804, -2.5633, "lowland", "LQ3"),
        SitePlan("LQ3", "Gasworks bridge", "River Quillet", 54.3689, -2.5577, "lowland", "LQ4"),
        SitePlan("LQ4", "Tide lock", "River Quillet", 54.3561, -2.5502, "lowland"),
    ),
    episodes=(
        Episode("LQ3", 21, "suspected"),
        Episode("LQ2", 13, "mistaken"),
        Episode("LQ4", 7, "traced"),
    ),
    is_public=False,
)

GROUPS = (HEADWATERS, THRAPPLE, LOWER)
