"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("outbox", "0004_message_unsubscribe_url")]

    operations = [
        AddConstraintNotValid(
            "message",
            models.CheckConstraint(
                condition=models.Q(state__in=["owed", "sent", "failed", "cancelled"]),
                name="message_state_known",
            ),
        ),
    ]
