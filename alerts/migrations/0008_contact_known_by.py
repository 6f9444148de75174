import django.db.models.functions.text
from django.contrib.postgres.operations import AddIndexConcurrently, RemoveIndexConcurrently
from django.db import migrations, models


class Migration(migrations.Migration):
    # Contacts go on being looked up while it is made.
    atomic = False

    dependencies = [("alerts", "0007_incidentevent_erased")]

    operations = [
        migrations.AddField(
            model_name="agencycontact",
            name="address",
            field=models.GeneratedField(
                db_persist=True,
                expression=django.db.models.functions.text.Lower("email"),
                output_field=models.CharField(max_length=254),
            ),
        ),
        AddIndexConcurrently(
            model_name="agencycontact",
            index=models.Index(fields=["address"], name="contact_known_by"),
        ),
        RemoveIndexConcurrently(model_name="agencycontact", name="contact_by_address"),
    ]
