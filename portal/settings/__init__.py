"""Settings of the portal, a file for each subject; a new one goes where its neighbours are.

Everything that differs between machines comes from the environment and is read by `environment.env`;
`portal/deploy/SETTINGS.md` holds the whole table, `portal/serving/safe_start.py` what is refused in production.
"""

import django_stubs_ext

from portal.settings.application import *
from portal.settings.background import *
from portal.settings.caches import *
from portal.settings.databases import *
from portal.settings.environment import *
from portal.settings.files import *
from portal.settings.interface import *
from portal.settings.languages import *
from portal.settings.mail import *
from portal.settings.maps import *
from portal.settings.security import *
from portal.settings.signing_in import *
from portal.settings.watching import *

# Lets generic classes such as ModelForm[Site] be written at run time as the type checker reads them.
django_stubs_ext.monkeypatch()
