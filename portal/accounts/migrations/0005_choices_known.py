"""Words to choose from are known to the database: of new rows first, which reads none."""

from django.contrib.postgres.operations import AddConstraintNotValid
from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("accounts", "0004_addresschange")]

    operations = [
        AddConstraintNotValid(
            "invitation",
            models.CheckConstraint(
                condition=models.Q(role__in=["volunteer", "coordinator", "reviewer"]),
                name="invitation_role_known",
            ),
        ),
    ]
