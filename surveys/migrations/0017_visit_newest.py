from django.conf import settings
from django.contrib.postgres.operations import AddIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    # Visits go on being written while it is made.
    atomic = False

    dependencies = [
        ("accounts", "0003_languages"),
        ("surveys", "0016_approved_last"),
        migrations.swappable_dependency(settings.AUTH_USER_MODEL),
    ]

    operations = [
        AddIndexConcurrently(
            model_name="visit",
            index=models.Index(fields=["group", "-visited_on", "-submitted_at"], name="visit_newest"),
        ),
    ]
