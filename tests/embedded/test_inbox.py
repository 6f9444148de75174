"""The demo's mail server, spoken to by a real client."""

import email
import email.policy
import smtplib
import socket
import threading
from email.message import EmailMessage
from pathlib import Path

import environ
import pytest

from portal.embedded import inbox


def letter(subject: str = "A low score") -> EmailMessage:
    message = EmailMessage()
    message["From"], message["To"], message["Subject"] = "portal@example.org", "contact@example.org", subject
    message.set_content("Stänkbach, riffle below the bridge")
    return message


def send(address: str, message: EmailMessage) -> None:
    server = environ.Env.email_url_config(address)
    with smtplib.SMTP(server["EMAIL_HOST"], server["EMAIL_PORT"], timeout=10) as line:
        line.send_message(message)


def test_it_stores_a_message_as_it_was_sent(tmp_path: Path) -> None:
    with inbox.receiving(tmp_path / "inbox") as address:
        send(address, letter())
    (stored,) = (tmp_path / "inbox").glob("*")
    read = email.message_from_bytes(stored.read_bytes(), policy=email.policy.default)
    assert stored.suffix == ".eml"
    assert read["Subject"] == "A low score"
    assert read.get_content().strip() == "Stänkbach, riffle below the bridge"


def test_the_names_of_the_files_sort_by_arrival(tmp_path: Path) -> None:
    with inbox.receiving(tmp_path) as address:
        for number in range(5):
            send(address, letter(str(number)))
    subjects = [
        email.message_from_bytes(stored.read_bytes())["Subject"] for stored in sorted(tmp_path.glob("*.eml"))
    ]
    assert subjects == ["0", "1", "2", "3", "4"]


def test_it_loses_none_of_many_that_come_at_once(tmp_path: Path) -> None:
    with inbox.receiving(tmp_path) as address:
        senders = [threading.Thread(target=send, args=(address, letter(str(number)))) for number in range(12)]
        for sender in senders:
            sender.start()
        for sender in senders:
            sender.join()
    assert len(list(tmp_path.glob("*.eml"))) == 12
    assert not list(tmp_path.glob("*.part"))


def test_only_its_owner_can_read_the_links_in_it(tmp_path: Path) -> None:
    with inbox.receiving(tmp_path / "inbox"):
        assert (tmp_path / "inbox").stat().st_mode & 0o077 == 0


def test_its_port_is_free_again_afterwards(tmp_path: Path) -> None:
    with inbox.receiving(tmp_path) as address:
        port = int(address.rpartition(":")[2])
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", port)) != 0


def test_it_refuses_what_goes_to_the_domain_without_mailboxes(tmp_path: Path) -> None:
    lost = letter()
    lost.replace_header("To", f"basil@{inbox.NO_MAILBOXES}")
    with inbox.receiving(tmp_path) as address, pytest.raises(smtplib.SMTPRecipientsRefused):
        send(address, lost)
    assert not list(tmp_path.glob("*"))
