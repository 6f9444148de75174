"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("alerts", "0009_choices_known")]

    operations = [
        ValidateConstraint("groupoutcome", "outcome_counts_as_known"),
        ValidateConstraint("incident", "incident_words_known"),
        ValidateConstraint("incidentevent", "incident_event_known"),
        ValidateConstraint("repeatrequest", "repeat_state_known"),
        ValidateConstraint("verdict", "verdict_outcome_known"),
    ]
