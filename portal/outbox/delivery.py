"""Claim, send, mark: each step its own short transaction, and none held open while a mail server thinks.

A process that dies after the claim leaves the row owed and claimed; once the claim has run out somebody else
sends it again under the same Message-ID. So a message is sent at least once, never lost.
"""

from __future__ import annotations

from uuid import UUID

from portal.accounts.walls import wide
from portal.outbox.claims import owed
from portal.outbox.nudging import nudge
from portal.outbox.resting import is_resting
from portal.outbox.sending import Round
from portal.outbox.transport import Answer, Result

# Below the ten seconds that a container is usually given to stop in: the sweep at hand ends by itself.
SWEEP_SECONDS = 8.0


@wide("a worker is given the number of the message only")
def deliver(message_id: UUID) -> Answer | None:
    """Send one message now; None when it is not owed, not due, in somebody else's hands, or the server is away.

    While the line is open it carries whatever else is owed, for at most 8 s: a thousand owed at once then need
    few connections and few nudges.
    """
    if is_resting():
        return None
    with Round(SWEEP_SECONDS) as sending:
        answer = sending.send_first(owed().filter(id=message_id))
        if answer is None or answer.result is Result.ACCEPTED:
            sending.carry_on()
        _call_for_more(sending)
    return answer


@wide("the outbox delivers for every group")
def deliver_all_owed() -> int:
    """Send what is owed and due, oldest and newest in turn, for at most 8 s; return how many were tried.

    Stops when the server takes nothing: the rest would only collect the same failure.
    """
    with Round(SWEEP_SECONDS) as sending:
        sending.carry_on()
        _call_for_more(sending)
    return sending.tried


def _call_for_more(sending: Round) -> None:
    """Time was up and more is owed: whoever is free goes on, behind whatever else waits for a worker.

    When nobody is free for as long as a round takes, all have work already, and calls must not pile up.
    """
    if sending.is_out_of_time and (left := owed().values_list("id", flat=True).first()):
        nudge(left, within=SWEEP_SECONDS)
