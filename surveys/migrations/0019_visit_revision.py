from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [
        ("surveys", "0018_fewer_indexes"),
    ]

    operations = [
        migrations.AddField(
            model_name="visit",
            name="revision",
            field=models.PositiveIntegerField(
                db_default=0, default=0, editable=False, help_text="How often it was mended or corrected."
            ),
        ),
    ]
