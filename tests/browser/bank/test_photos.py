"""Pictures taken on the bank stay on the phone until they are sent, small and without place and camera."""

from __future__ import annotations

import io
from typing import Any

import pytest
from PIL import Image
from playwright.sync_api import Page, Route, expect

from surveys.models import Photo
from tests.browser.bank.steps import (
    HOME,
    assert_once,
    await_in,
    await_state,
    fill_in,
    new_number,
    open_form,
    submit,
)
from tests.browser.checks import assert_accessible
from tests.conftest import Cast
from tests.processes import await_true

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]
CAMERA = 271


def picture(size: tuple[int, int] = (80, 60), colour: str = "seagreen") -> dict[str, Any]:
    """A picture as a camera makes it, with the camera's name in it."""
    exif = Image.Exif()
    exif[CAMERA] = "Camera of an example"
    encoded = io.BytesIO()
    Image.new("RGB", size, colour).save(encoded, "JPEG", exif=exif)
    return {"name": "bank.jpg", "mimeType": "image/jpeg", "buffer": encoded.getvalue()}


def add(page: Page, *pictures: dict[str, Any]) -> None:
    page.get_by_label("Add pictures").set_input_files(list(pictures))  # type: ignore[arg-type]


def kept_pictures(page: Page) -> Any:
    """Size in pixels and bytes, first words and caption of each picture on the phone."""
    return page.evaluate(
        """async () => Promise.all((await phoneStore.photos()).map(async (photo) => {
            const drawn = await createImageBitmap(photo.blob);
            const text = await photo.blob.text();
            return { width: drawn.width, height: drawn.height, type: photo.blob.type, caption: photo.caption,
                     tellsCamera: text.includes("Camera of an example") };
        }))"""
    )


@pytest.fixture
def number() -> str:
    return new_number()


@pytest.fixture
def form(cast: Cast, phone: Page, number: str) -> Page:
    open_form(phone, cast.site, number)
    phone.context.set_offline(True)
    fill_in(phone)
    return phone


@pytest.mark.long
def test_it_keeps_a_picture_small_and_tells_nothing_of_the_camera(form: Page) -> None:
    add(form, picture((2400, 1200)))
    expect(form.locator("[data-photo-list] img")).to_have_count(1)
    (kept,) = kept_pictures(form)
    assert kept == {"width": 1600, "height": 800, "type": "image/jpeg", "caption": "", "tellsCamera": False}


def test_pictures_and_captions_outlive_the_tab_and_go_after_the_visit(
    cast: Cast, form: Page, number: str
) -> None:
    add(form, picture(), picture(colour="brown"))
    form.get_by_label("What it shows").first.fill("Outfall")
    form.get_by_role("button", name="Remove this picture").nth(1).click()
    expect(form.locator("[data-photo-list] img")).to_have_count(1)
    await_true(lambda: kept_pictures(form)[0]["caption"] == "Outfall", "the caption was not kept")
    context = form.context
    form.close()
    context.set_offline(False)
    again = context.new_page()
    open_form(again, cast.site, number)
    expect(again.get_by_role("img", name="Outfall")).to_be_visible()
    assert_accessible(again)
    submit(again)
    await_state(again, number, "sent")
    await_true(lambda: photos(cast) == [(number, "Outfall")], f"sent: {photos(cast)}")
    assert_once(cast.site, number)


def photos(cast: Cast) -> list[tuple[str, str]]:
    found = Photo.objects.of_group(cast.group)
    return [(str(photo.visit_number), photo.caption) for photo in found]


def test_a_picture_whose_answer_was_lost_stands_on_the_portal_once(cast: Cast, form: Page, number: str) -> None:
    answers: list[int] = []

    def lose_first(route: Route) -> None:
        answer = route.fetch()
        answers.append(answer.status)
        if len(answers) == 1:
            route.abort("connectionreset")
        else:
            route.fulfill(response=answer)

    add(form, picture())
    expect(form.locator("[data-photo-list] img")).to_have_count(1)
    form.context.route("**/photos/**", lose_first)
    submit(form)
    form.context.set_offline(False)
    await_in(form, lambda: len(answers) == 2, "not sent again")
    assert photos(cast) == [(number, "")]
    assert_once(cast.site, number)


@pytest.mark.long
def test_a_picture_that_the_portal_refuses_says_why_in_the_list(cast: Cast, form: Page, number: str) -> None:
    refusal = {"detail": "This photo has too many pixels."}
    form.context.route("**/photos/**", lambda route: route.fulfill(status=422, json=refusal))
    add(form, picture())
    expect(form.locator("[data-photo-list] img")).to_have_count(1)
    submit(form)
    form.context.set_offline(False)
    await_state(form, number, "sent")
    form.goto(HOME)
    expect(form.get_by_text("A picture was not taken:")).to_be_visible()
    expect(form.get_by_text("This photo has too many pixels.")).to_be_visible()
    assert_once(cast.site, number)


@pytest.mark.long
def test_it_says_at_the_field_what_is_no_picture(form: Page) -> None:
    add(form, {"name": "notes.jpg", "mimeType": "image/jpeg", "buffer": b"no picture"})
    expect(form.get_by_text("This file is no picture that the phone can read.")).to_be_visible()
    expect(form.get_by_label("Add pictures")).to_have_attribute("aria-invalid", "true")


@pytest.mark.long
def test_it_takes_no_more_pictures_than_the_portal_does(form: Page) -> None:
    add(form, *[picture((8, 6)) for _ in range(13)])
    expect(form.get_by_text("12 pictures are enough for one visit.")).to_be_visible()
    expect(form.locator("[data-photo-list] img")).to_have_count(12)
