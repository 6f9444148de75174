"""The words of the register: one `Kept` for each kind of thing that is kept of people."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from enum import Enum

from django.db.models import Field, Model
from django.utils.functional import Promise

from portal.accounts.models import Group

Words = Promise | str
# Works off one batch of a group's rows that are older than so many days, and tells how many there were.
Sweep = Callable[[Group, datetime, int], int]
# In the place of a path to the account: the row names it by its e-mail address in this field.
BY_ADDRESS = "@"


class End(Enum):
    """What becomes of a row, or of its fields, when the person is erased."""

    DELETE = "the row goes"
    BLANK = "the fields are emptied"
    NAME = "the fields say the pseudonym"
    # Names, addresses and telephone numbers in it give way to the pseudonym all the same.
    STAY = "the rest stays"


@dataclass(frozen=True)
class Held:
    """Fields of one model that belong to one person.

    `owner` is the path to their account ("membership__user"), or "@email" for a row that names them by address.
    `known_by` are those fields that tell who somebody is wherever else they are written. `tell` goes into the
    person's file beside the fields, so that a row can be understood; `given` False leaves the row out of it.
    """

    model: str
    owner: str
    fields: tuple[str, ...] = ()
    end: End = End.STAY
    known_by: tuple[str, ...] = ()
    tell: tuple[str, ...] = ()
    given: bool = True


@dataclass(frozen=True)
class Limit:
    """After how many days a kind of thing goes by itself; a group may choose fewer where `choosable` says so.

    With `everywhere` it is swept once for the whole portal instead, by a function of the time alone.
    """

    days: int
    sweep: Sweep | None = None
    everywhere: Callable[[datetime], int] | None = None
    choosable: str = ""


@dataclass(frozen=True)
class Kept:
    """One kind of thing: what it is, why and how long it is kept, and how it ends, in words for volunteers.

    `others` are fields ("people.Minor.until") that belong to nobody in particular or are never given out.
    """

    key: str
    what: Words
    why: Words
    how_long: Words
    at_erasure: Words
    held: tuple[Held, ...] = ()
    others: tuple[str, ...] = ()
    limit: Limit | None = None

    @property
    def fields(self) -> set[str]:
        """All fields of this kind, as "app.Model.field"."""
        return {f"{each.model}.{name}" for each in self.held for name in each.fields} | set(self.others)


def label_of(field: Field[object, object]) -> str:
    """The field as the register names it."""
    model: type[Model] = field.model
    return f"{model._meta.label}.{field.name}"
