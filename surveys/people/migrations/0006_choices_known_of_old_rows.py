"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("people", "0005_choices_known")]

    operations = [
        ValidateConstraint("enquirystep", "enquiry_step_known"),
    ]
