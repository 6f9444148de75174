"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("surveys", "0020_choices_known")]

    operations = [
        ValidateConstraint("finding", "finding_decision_known"),
        ValidateConstraint("recordinglist", "list_level_known"),
        ValidateConstraint("returnevent", "return_event_known"),
        ValidateConstraint("returnnotice", "return_notice_step_known"),
        ValidateConstraint("safereturn", "safe_return_words_known"),
        ValidateConstraint("site", "site_season_known"),
        ValidateConstraint("spoteffort", "spot_flow_type_known"),
        ValidateConstraint("visit", "visit_words_known"),
    ]
