"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("outbox", "0005_choices_known")]

    operations = [
        ValidateConstraint("message", "message_state_known"),
    ]
