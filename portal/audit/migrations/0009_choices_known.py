"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("audit", "0008_note_added_at_once")]

    operations = [
        AddConstraintNotValid(
            "auditentry",
            models.CheckConstraint(
                condition=models.Q(
                    way__in=["", "page", "interface", "link", "job", "import", "task", "command"]
                ),
                name="audit_entry_way_known",
            ),
        ),
    ]
