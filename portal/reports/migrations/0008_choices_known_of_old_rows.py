"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("reports", "0007_choices_known")]

    operations = [
        ValidateConstraint("grouppicture", "picture_people_known"),
        ValidateConstraint("yearlyreport", "report_state_known"),
    ]
