"""All that is kept of one person, as one file: JSON, their pictures, and a page to read."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator
from typing import Any

from django.apps import apps
from django.core.serializers.json import DjangoJSONEncoder
from django.db.models import QuerySet
from django.template.loader import render_to_string

from portal.accounts.models import User
from portal.accounts.walls import wide
from portal.privacy.kept import BY_ADDRESS, Held, Kept
from portal.privacy.register import KEPT
from surveys.models import Photo

Row = dict[str, Any]
Told = Callable[[int, int], None]


def addresses_of(user: User) -> set[str]:
    """Every e-mail address of the account, in small letters."""
    from allauth.account.models import EmailAddress

    others = EmailAddress.objects.filter(user=user).values_list("email", flat=True)
    return {each.lower() for each in (user.email, *others) if each}


def rows_of(held: Held, user: User, addresses: Iterable[str]) -> QuerySet[Any]:
    """The person's rows of this kind, across groups."""
    rows: QuerySet[Any] = apps.get_model(held.model)._base_manager.all()
    if held.owner.startswith(BY_ADDRESS):
        # Addresses are kept in small letters, but for what somebody typed for another.
        field = held.owner.removeprefix(BY_ADDRESS)
        return rows.filter(**{f"{field}__iregex": _any_of(addresses)})
    return rows.filter(**{held.owner: user.pk})


def _any_of(addresses: Iterable[str]) -> str:
    # PostgreSQL reads backslashes before such letters as the letters themselves.
    escaped = ("".join(c if c.isalnum() else f"\\{c}" for c in each) for each in sorted(addresses))
    return f"^({'|'.join(escaped)})$"


@wide("all that is kept of one person")
def kept_of(user: User, told: Told = lambda _done, _total: None) -> dict[str, list[Row]]:
    """Kind of the register to the person's rows: fields by name, with the model under "of"."""
    addresses = addresses_of(user)
    found: dict[str, list[Row]] = {}
    for done, kind in enumerate(KEPT, start=1):
        found[kind.key] = list(_rows(kind, user, addresses))
        told(done, len(KEPT))
    return found


def _rows(kind: Kept, user: User, addresses: set[str]) -> Iterator[Row]:
    for held in kind.held:
        if held.given:
            names = dict.fromkeys((*held.fields, *held.tell))
            for row in rows_of(held, user, addresses).order_by("pk").values(*names).iterator():
                yield {"of": held.model, "as": held.owner, **row}


@wide("all that is kept of one person")
def file_of(user: User, told: Told = lambda _done, _total: None) -> bytes:
    """The ZIP: `kept.json`, `index.html` and the person's pictures under `pictures/`."""
    kept = kept_of(user, told)
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as file:
        file.writestr("kept.json", json.dumps(kept, cls=DjangoJSONEncoder, indent=1, ensure_ascii=False))
        pictures = list(_add_pictures(file, user))
        file.writestr("index.html", _index(user, kept, pictures))
    return packed.getvalue()


def _add_pictures(file: zipfile.ZipFile, user: User) -> Iterator[str]:
    photos = Photo.objects.across_groups("a person's own pictures").filter(added_by=user)
    for photo in photos.order_by("added_at").iterator():
        name = f"pictures/{photo.pk}.jpg"
        try:
            with photo.file.open("rb") as content:
                file.writestr(name, content.read())
        except FileNotFoundError:
            # The row is given all the same, and says which file it named.
            continue
        yield name


def _index(user: User, kept: dict[str, list[Row]], pictures: list[str]) -> str:
    kinds = [(each, [_lines(row) for row in kept[each.key]]) for each in KEPT]
    return render_to_string(
        "privacy/own_file.html",
        {"user": user, "kinds": [each for each in kinds if each[1]], "pictures": pictures},
    )


def _lines(row: Row) -> list[tuple[str, Any]]:
    return [
        (name, value) for name, value in row.items() if value not in ("", None) and name not in ("of", "as")
    ]
