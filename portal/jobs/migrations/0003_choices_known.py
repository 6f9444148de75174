"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("jobs", "0002_language_of_a_job")]

    operations = [
        AddConstraintNotValid(
            "job",
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "running", "done", "stopped", "failed"]),
                name="job_state_known",
            ),
        ),
    ]
