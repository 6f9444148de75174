from django.conf import settings
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    # Visits go on being written while it is made.
    atomic = False

    dependencies = [
        ("accounts", "0003_languages"),
        ("surveys", "0015_import_checks"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        AddIndexConcurrently(
            model_name="visit",
            index=models.Index(
                condition=models.Q(("status", "approved")),
                fields=["group", "-reviewed_at"],
                name="visit_approved_last",
            ),
        ),
    ]
