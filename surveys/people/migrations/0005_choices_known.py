"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("people", "0004_enquiry_language")]

    operations = [
        AddConstraintNotValid(
            "enquirystep",
            models.CheckConstraint(
                condition=models.Q(
                    kind__in=[
                        "asked",
                        "asked_again",
                        "confirmed",
                        "written_down",
                        "answered",
                        "invited",
                        "came",
                        "offered",
                        "not_now",
                    ]
                ),
                name="enquiry_step_known",
            ),
        ),
    ]
