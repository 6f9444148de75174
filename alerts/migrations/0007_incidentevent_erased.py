from django.db import migrations, models


class Migration(migrations.Migration):
    dependencies = [("alerts", "0006_contact_by_address")]

    operations = [
        migrations.AddField(
            "incidentevent",
            "erased",
            models.JSONField(
                db_default={},
                default=dict,
                editable=False,
                help_text="actor or note, taken out, to its digest.",
            ),
        )
    ]
