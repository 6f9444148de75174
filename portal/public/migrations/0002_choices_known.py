"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("public", "0001_public_pages")]

    operations = [
        AddConstraintNotValid(
            "opendatafile",
            models.CheckConstraint(
                condition=models.Q(name__in=["results.csv", "taxa.csv", "archive.zip"]),
                name="open_data_file_known",
            ),
        ),
    ]
