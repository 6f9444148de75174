"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("jobs", "0003_choices_known")]

    operations = [
        ValidateConstraint("job", "job_state_known"),
    ]
