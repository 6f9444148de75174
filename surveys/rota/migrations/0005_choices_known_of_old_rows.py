"""The same of the rows that stood before: they are read while others are written."""

from django.contrib.postgres.operations import ValidateConstraint
from django.db import migrations


class Migration(migrations.Migration):
    dependencies = [("rota", "0004_choices_known")]

    operations = [
        ValidateConstraint("assignment", "assignment_state_known"),
        ValidateConstraint("nameddays", "named_days_known"),
        ValidateConstraint("plannedvisit", "planned_visit_state_known"),
        ValidateConstraint("swapoffer", "swap_state_known"),
    ]
