"""What the e-mail itself looks like to a mail program."""

from __future__ import annotations

import base64
from email.generator import BytesGenerator
from email.message import EmailMessage
from typing import Any

import pytest
from django.core.mail import EmailMultiAlternatives, send_mail
from pytest_django import Settings

from portal.outbox import composing, pictures
from portal.outbox.composing import compose
from portal.outbox.models import Message
from portal.outbox.pictures import register_picture
from portal.outbox.rendering import render_mail
from tests.mail import html_of, parse, text_of
from tests.outbox.conftest import Owe

pytestmark = pytest.mark.django_db

PNG = base64.b64decode(
    "iVBORw0KGgoAAAANSUhEUgAAAAEAAAABCAYAAAAfFcSJAAAADUlEQVR42mNk+M9QDwADhgGAWjR9awAAAABJRU5ErkJggg=="
)
PAGE = '<html><body><p>Low</p><img width="9" src="cid:picture" alt="Scores &amp; trigger"></body></html>'


def received(message: Message) -> EmailMessage:
    """The e-mail as a mail program reads it."""
    return parse(compose(message).content)


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
    mail = received(owe())
    assert mail.get_content_type() == "text/plain"
    assert mail["Subject"] == "A low score"
    assert mail["From"] == "Rifflebook <portal@rifflebook.example>"


def test_it_is_written_as_the_librarys_own_writer_does(
    owe: Owe, picture_maker: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    picture: dict[str, Any] = {"picture_maker": "dot", "picture_args": {"colour": "red"}}
    message = owe(text="Kyle’s ford\n.\nFrom here on \r\n", html=PAGE + "wörd " * 50, **picture)
    ours = compose(message).content
    monkeypatch.setattr(composing, "_Writer", BytesGenerator)
    theirs = compose(message).content
    body = ours.partition(b"Content-Type")[2]
    assert body == theirs.partition(b"Content-Type")[2]
    assert b"\n" not in body.replace(b"\r\n", b"")
    assert max(map(len, body.split(b"\r\n"))) <= 76 + len(b"Content-Disposition: ")


def test_it_asks_auto_responders_to_keep_still(owe: Owe) -> None:
    assert received(owe())["Auto-Submitted"] == "auto-generated"


def test_it_names_whom_to_answer(owe: Owe) -> None:
    assert received(owe(reply_to="desk@group.example"))["Reply-To"] == "desk@group.example"
    assert received(owe("b"))["Reply-To"] is None


def test_it_says_in_one_line_where_messages_of_its_kind_are_ended(owe: Owe) -> None:
    address = f"https://rifflebook.example/rota/{'a' * 60}:{'b' * 43}/"
    sent = compose(owe(unsubscribe_url=address)).content.decode()
    # Folded it would be encoded, and no mail program would find the address in it.
    assert f"\r\nList-Unsubscribe: <{address}>\r\n" in sent
    assert "\r\nList-Unsubscribe-Post: List-Unsubscribe=One-Click\r\n" in sent
    assert "List-Unsubscribe" not in received(owe("b"))


def test_it_sends_any_words_as_they_were_written(owe: Owe) -> None:
    """Long lines, lines that begin with a dot or end in blanks, signs of any language, Windows' line ends."""
    words = "Größe – 12 °C\n.\n..two\nends in blanks  \n" + "long " * 300 + "\nFrom here = there\r\n\n川"
    mail = received(owe(text=words, html=f"<p>{words}</p>"))
    assert text_of(mail).splitlines() == words.splitlines()
    assert html_of(mail).splitlines() == f"<p>{words}</p>".splitlines()


def test_readers_of_one_incident_share_one_drawing(owe: Owe, monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[str] = []

    def dot(colour: str) -> bytes:
        drawn.append(colour)
        return PNG + colour.encode()

    monkeypatch.setitem(pictures._makers, "dot", dot)
    fields: dict[str, Any] = {"html": PAGE, "picture_maker": "dot"}
    first, second, other = (
        owe(colour + str(number), picture_args={"colour": colour}, **fields)
        for number, colour in enumerate(["red", "red", "blue"])
    )
    assert picture_in(received(first)) == picture_in(received(second)) == PNG + b"red"
    assert picture_in(received(other)) == PNG + b"blue"
    assert drawn == ["red", "blue"]
    monkeypatch.setattr(pictures, "KEPT_SECONDS", 0.0)
    received(first)
    assert drawn == ["red", "blue", "red"], "what changed since is shown"


def picture_in(mail: EmailMessage) -> bytes:
    (picture,) = (part for part in mail.walk() if part.get_content_type() == "image/png")
    return bytes(picture.get_content())


def test_it_keeps_its_number_from_one_try_to_the_next(owe: Owe) -> None:
    message = owe()
    assert received(message)["Message-ID"] == received(message)["Message-ID"]
    assert received(message)["Message-ID"] != received(owe("b"))["Message-ID"]


def test_it_offers_text_first_and_html_after(owe: Owe) -> None:
    mail = received(owe(html="<p>Zwölf</p>"))
    assert [part.get_content_type() for part in mail.iter_parts()] == ["text/plain", "text/html"]
    assert "Zwölf" in html_of(mail)


def test_it_carries_the_picture_inside(owe: Owe, picture_maker: None) -> None:
    mail = received(owe(html=PAGE, picture_maker="dot", picture_args={"colour": "red"}))
    images = [part for part in mail.walk() if part.get_content_type() == "image/png"]
    assert len(images) == 1
    assert images[0].get_content() == PNG
    assert f'src="cid:{images[0]["Content-ID"][1:-1]}"' in html_of(mail)
    assert images[0].get_content_disposition() == "inline"


def test_it_goes_without_the_picture_when_drawing_fails(owe: Owe, picture_maker: None) -> None:
    mail = received(owe(html=PAGE, picture_maker="dot", picture_args={"colour": "blue"}))
    assert "<img" not in html_of(mail)
    assert "Scores &amp; trigger" in html_of(mail), "the description stands in its place"
    assert "Twelve" in text_of(mail)


def test_it_goes_without_the_picture_when_its_maker_is_unknown(owe: Owe) -> None:
    mail = received(owe(html=PAGE, picture_maker="nobody"))
    assert not [part for part in mail.walk() if part.get_content_maintype() == "image"]


def test_it_is_sendable_as_plain_bytes(owe: Owe, picture_maker: None) -> None:
    message = owe(
        html=PAGE,
        picture_maker="dot",
        picture_args={"colour": "red"},
        subject="Größe – 12 °C",
        to_name="Ærøy, Å.",
    )
    content = compose(message).content
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
