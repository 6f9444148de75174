"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.db import migrations, models

from portal.choices import AddKnown


class Migration(migrations.Migration):
    # Each table is held for a moment, and none while the next is waited for.
    atomic = False

    dependencies = [("reports", "0006_people_in_pictures")]

    operations = [
        AddKnown(
            "grouppicture",
            models.CheckConstraint(
                condition=models.Q(people__in=["", "nobody", "agreed"]), name="picture_people_known"
            ),
        ),
        AddKnown(
            "yearlyreport",
            models.CheckConstraint(
                condition=models.Q(state__in=["queued", "running", "ready", "failed", "published"]),
                name="report_state_known",
            ),
        ),
    ]
