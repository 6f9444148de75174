"""What the e-mail itself looks like to a mail program."""

from __future__ import annotations

import base64
from typing import Any

import pytest
from django.core.mail import EmailMultiAlternatives, send_mail
from pytest_django import Settings

from portal.outbox import pictures
from portal.outbox.composing import compose
from portal.outbox.models import Message
from portal.outbox.pictures import register_picture
from portal.outbox.rendering import render_mail
from tests.mail import html_of, text_of
from tests.outbox.conftest import Owe

pytestmark = pytest.mark.django_db

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
PAGE = '<html><body><p>Low</p><img width="9" src="cid:picture" alt="Scores &amp; trigger"></body></html>'


@pytest.fixture
def picture_maker() -> Any:
    def dot(colour: str) -> bytes:
        if colour != "red":
            raise ValueError("only red")
        return PNG

    register_picture("dot", dot)
    yield
    del pictures._makers["dot"]


def test_it_is_plain_text_without_html(owe: Owe) -> None:
    mail = compose(owe())
    assert mail.get_content_type() == "text/plain"
    assert mail["Subject"] == "A low score"
    assert mail["From"] == "Rifflebook <portal@rifflebook.example>"


def test_it_asks_auto_responders_to_keep_still(owe: Owe) -> None:
    assert compose(owe())["Auto-Submitted"] == "auto-generated"


def test_it_names_whom_to_answer(owe: Owe) -> None:
    assert compose(owe(reply_to="desk@group.example"))["Reply-To"] == "desk@group.example"
    assert compose(owe("b"))["Reply-To"] is None


def test_it_says_in_one_line_where_messages_of_its_kind_are_ended(owe: Owe) -> None:
    address = f"https://rifflebook.example/rota/{'a' * 60}:{'b' * 43}/"
    sent = compose(owe(unsubscribe_url=address)).as_bytes().decode()
    # Folded it would be encoded, and no mail program would find the address in it.
    assert f"\r\nList-Unsubscribe: <{address}>\r\n" in sent
    assert "\r\nList-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n" in sent
    assert "List-Unsubscribe" not in compose(owe("b"))


def test_it_keeps_its_number_from_one_try_to_the_next(owe: Owe) -> None:
    message = owe()
    assert compose(message)["Message-ID"] == compose(message)["Message-ID"]
    assert compose(message)["Message-ID"] != compose(owe("b"))["Message-ID"]


def test_it_offers_text_first_and_html_after(owe: Owe) -> None:
    mail = compose(owe(html="<p>Zwölf</p>"))
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]
    assert "Zwölf" in html_of(mail)


def test_it_carries_the_picture_inside(owe: Owe, picture_maker: None) -> None:
    mail = compose(owe(html=PAGE, picture_maker="dot", picture_args={"colour": "red"}))
    images = [part for part in mail.walk() if part.get_content_type() == "image/png"]
    assert len(images) == 1
    assert images[0].get_content() == PNG
    assert f'src="cid:{images[0]["Content-ID"][1:-1]}"' in html_of(mail)
    assert images[0].get_content_disposition() == "inline"


def test_it_goes_without_the_picture_when_drawing_fails(owe: Owe, picture_maker: None) -> None:
    mail = compose(owe(html=PAGE, picture_maker="dot", picture_args={"colour": "blue"}))
    assert "<img" not in html_of(mail)
    assert "Scores &amp; trigger" in html_of(mail), "the description stands in its place"
    assert "Twelve" in text_of(mail)


def test_it_goes_without_the_picture_when_its_maker_is_unknown(owe: Owe) -> None:
    mail = compose(owe(html=PAGE, picture_maker="nobody"))
    assert not [part for part in mail.walk() if part.get_content_maintype() == "image"]


def test_it_is_sendable_as_plain_bytes(owe: Owe, picture_maker: None) -> None:
    message = owe(
        html=PAGE,
        picture_maker="dot",
        picture_args={"colour": "red"},
        subject="Größe – 12 °C",
        to_name="Ærøy, Å.",
    )
    content = compose(message).as_bytes()
    assert content.isascii()
    assert max(len(line) for line in content.split(b"\r\n")) <= 998


def test_it_cannot_be_given_a_second_recipient_by_a_name(owe: Owe) -> None:
    message = Message(to_name="A\r\nBcc: x@example.org", to_address="a@example.org", subject="s", text="t")
    with pytest.raises(ValueError, match="CR or LF"):
        compose(message)


def owed() -> list[Message]:
    return list(Message.objects.across_groups("tests look at all").order_by("to_address"))


def test_it_turns_the_frameworks_mail_into_rows(settings: Settings) -> None:
    settings.EMAIL_BACKEND = "portal.outbox.backend.OutboxBackend"
    send_mail("Reset", "Follow the link", None, ["a@example.org", "b@example.org"], html_message="<p>x</p>")
    rows = owed()
    assert [each.to_address for each in rows] == ["a@example.org", "b@example.org"]
    assert {(each.subject, each.text, each.html) for each in rows} == {("Reset", "Follow the link", "<p>x</p>")}
    assert {each.group_id for each in rows} == {None}


def test_it_owes_the_same_mail_twice_when_asked_twice(settings: Settings) -> None:
    settings.EMAIL_BACKEND = "portal.outbox.backend.OutboxBackend"
    for _ in range(2):
        send_mail("Reset", "Follow the link", None, ["a@example.org"])
    assert len(owed()) == 2


def test_it_refuses_attachments_rather_than_losing_them(settings: Settings) -> None:
    settings.EMAIL_BACKEND = "portal.outbox.backend.OutboxBackend"
    mail = EmailMultiAlternatives("s", "t", None, ["a@example.org"], attachments=[("a.txt", "x", "text/plain")])
    with pytest.raises(ValueError, match="attachments"):
        mail.send()
    assert owed() == []


def test_it_renders_the_three_parts_of_a_mail(tmp_path: Any, settings: Settings) -> None:
    parts = {
        "subject.txt": "Low\n at {{ site }}\n",
        "txt": "{% autoescape off %}{{ site }}  \n\n\n\nend{% endautoescape %}",
        "html": "<p>{{ site }}</p>",
    }
    for part, content in parts.items():
        (tmp_path / f"note.{part}").write_text(content)
    settings.TEMPLATES = [settings.TEMPLATES[0] | {"DIRS": [tmp_path]}]
    subject, text, html = render_mail("note", {"site": "Weir & mill"})
    assert subject == "Low at Weir &amp; mill"
    assert text == "Weir & mill\n\nend\n"
    assert html == "<p>Weir &amp; mill</p>\n"
