"""What each kind of person is answered: the policies that the table of expectations is written in."""

from __future__ import annotations

from collections.abc import Mapping

from tests.access.world import ROLES

Policy = Mapping[str, str]


def policy(answers: str, reviewer: str = "") -> Policy:
    """The answers given, one for each of `ROLES` but for the last three.

    The guest reviewer's answer, unless given, is that of anybody signed in: a group's page is none of theirs.
    Another group's volunteer gets what its coordinator gets, its agency contact what a former member does.
    """
    told = dict(zip(ROLES[:-3], answers.split(), strict=True))
    is_of_group = told["neighbour"] == "404" != told["coordinator"]
    told |= {"other_volunteer": told["neighbour"], "other_contact": told["former"]}
    return told | {"reviewer": reviewer or ("403" if is_of_group else told["neighbour"])}


def also_reviewer(who: Policy) -> Policy:
    """The same, with the guest reviewer let in: what checking visits needs."""
    return {**who, "reviewer": "ok"}


# "involved" is a coordinator who took part in the visit: nobody checks their own work.
#                       nobody volunteer coordinator involved neighbour contact former inactive operator
OPEN = policy("         ok     ok        ok          ok       ok        ok      ok     ok       ok")
HIDDEN = policy("       404    404       404         404      404       404     404    404      404")
SIGNED_IN = policy("    login  ok        ok          ok       ok        ok      ok     login    ok")
MEMBER = policy("       login  ok        ok          ok       404       404     404    login    404")
COORDINATOR = policy("  login  403       ok          ok       404       404     404    login    404")
SHARERS = policy("      login  ok        ok          ok       ok        404     404    login    404", "403")
UNINVOLVED = policy("   login  403       ok          403      404       404     404    login    404")
AUTHOR = policy("       login  ok        403         403      404       404     404    login    404")
INCIDENT = policy("     login  ok        ok          ok       404       ok      404    login    404")
INCIDENT_ACT = policy(" login  403       ok          ok       404       ok      404    login    404")
INCIDENT_RUN = policy(" login  403       ok          ok       404       403     404    login    404")
INCIDENT_GO = policy("  login  ok        ok          ok       404       403     404    login    404")
CONTACT_ONLY = policy(" login  403       403         403      404       ok      404    login    404")
PHONE = policy("        401    ok        ok          ok       ok        ok      ok     401      ok")
API_SIGNED_IN = policy("401    ok        ok          ok       ok        ok      ok     401      ok")
API_MEMBER = policy("   401    ok        ok          ok       404       404     404    401      404")
API_CHECK = policy("    401    403       ok          403      404       404     404    401      404", "ok")
API_CARE = policy("     401    403       ok          ok       404       404     404    401      404")
API_AUTHOR = policy("   401    ok        403         403      404       404     404    401      404")
# What belongs to a volunteer alone is not even told to exist to another member.
ONE_S_OWN = policy("    login  ok        404         404      404       404     404    login    404", "403")
# What is kept of one person, of whatever group.
OWN_FILE = policy("     login  ok        404         404      404       404     404    login    404", "404")
INSIDER, CHECKER = also_reviewer(MEMBER), also_reviewer(COORDINATOR)
UNINVOLVED_CHECKER = also_reviewer(UNINVOLVED)

Methods = Mapping[str, Policy]


def page(who: Policy) -> Methods:
    """A page that is only read."""
    return {"get": who, "head": who}


def form(who: Policy, sender: Policy | None = None) -> Methods:
    """A page with a form that it takes itself."""
    return {**page(who), "post": sender or who}


def button(who: Policy) -> Methods:
    """An address that only acts."""
    return {"post": who}


def program(who: Policy, **methods: Policy) -> Methods:
    """An address of the programming interface; OPTIONS tells what it takes, and nothing of the group."""
    return {**page(who), "options": API_SIGNED_IN, **methods}


def sending(who: Policy) -> Methods:
    """An address of the programming interface that only takes something."""
    return {"post": who, "options": API_SIGNED_IN}
