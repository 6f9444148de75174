"""PostgreSQL: where it is and as whom we sign in."""

import os

from portal.settings.environment import env

# Hosts on a network of the portal's own, to which TLS is not asked for.
PRIVATE_HOSTS: list[str] = env.list("PRIVATE_HOSTS", default=[])
# Web server, worker and scheduler work as this role, which owns no table, so that policies hold for
# them: DATABASE_URL signs in as it, or as somebody who then steps down to it.
DATABASES = {"default": env.db("DATABASE_URL", default="postgres:///rifflebook")}
DATABASE_ROLE: str = env.str("DATABASE_ROLE", default="rifflebook_app")
SIGNS_IN_AS_ROLE: bool = DATABASES["default"]["USER"] == DATABASE_ROLE
DATABASE_ROLE_PASSWORD: str = DATABASES["default"]["PASSWORD"] if SIGNS_IN_AS_ROLE else ""
# `manage.py` says so for the commands that need the owner of the tables: migrate, backup, restore.
AS_DATABASE_OWNER: bool = os.environ.get("AS_DATABASE_OWNER") == "1"
if AS_DATABASE_OWNER:
    _given = env.str("DATABASE_URL", default="postgres:///rifflebook")
    DATABASES = {"default": env.db("DATABASE_OWNER_URL", default=_given)}
# Django's PostgreSQL, which tells the database before each query whose rows may come out.
DATABASES["default"]["ENGINE"] = "portal.accounts.walled"
# A pool, because opening a PostgreSQL connection costs more than most of the portal's pages.
# A pooled connection may have died with a restarted database: tested when it is handed out.
DATABASES["default"]["CONN_HEALTH_CHECKS"] = True
DATABASES["default"]["OPTIONS"] = {
    **DATABASES["default"].get("OPTIONS", {}),
    **({} if AS_DATABASE_OWNER or SIGNS_IN_AS_ROLE else {"assume_role": DATABASE_ROLE}),
    "pool": {"min_size": 1, "max_size": env.int("DATABASE_POOL_SIZE", default=8), "timeout": 5},
}
# False: Django writes every statement anew, should an upgrade not get on with `portal/accounts/prepared.py`.
KEEPS_STATEMENTS = True
DEFAULT_AUTO_FIELD = "django.db.models.BigAutoField"
