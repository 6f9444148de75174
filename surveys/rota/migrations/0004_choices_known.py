"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.db import migrations, models

from portal.choices import AddKnown


class Migration(migrations.Migration):
    # Each table is held for a moment, and none while the next is waited for.
    atomic = False

    dependencies = [("rota", "0003_availability_has_said_when")]

    operations = [
        AddKnown(
            "assignment",
            models.CheckConstraint(
                condition=models.Q(
                    state__in=["proposed", "asked", "accepted", "declined", "removed", "swapped"]
                ),
                name="assignment_state_known",
            ),
        ),
        AddKnown(
            "nameddays",
            models.CheckConstraint(condition=models.Q(kind__in=["can", "away"]), name="named_days_known"),
        ),
        AddKnown(
            "plannedvisit",
            models.CheckConstraint(
                condition=models.Q(state__in=["draft", "published", "cancelled"]),
                name="planned_visit_state_known",
            ),
        ),
        AddKnown(
            "swapoffer",
            models.CheckConstraint(
                condition=models.Q(state__in=["open", "agreed", "refused", "void"]), name="swap_state_known"
            ),
        ),
    ]
