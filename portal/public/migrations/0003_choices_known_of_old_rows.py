"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("public", "0002_choices_known")]

    operations = [
        ValidateConstraint("opendatafile", "open_data_file_known"),
    ]
