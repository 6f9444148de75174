"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("audit", "0009_choices_known")]

    operations = [
        ValidateConstraint("auditentry", "audit_entry_way_known"),
    ]
