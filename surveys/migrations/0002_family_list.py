"""The built-in recording list of families."""

from django.db import migrations

from surveys.services.built_in_lists import ensure_family_list


def add_list(apps, schema_editor):
    ensure_family_list(apps.get_model("surveys", "RecordingList"), apps.get_model("surveys", "ListTaxon"))


class Migration(migrations.Migration):
    dependencies = [("surveys", "0001_initial")]

    operations = [migrations.RunPython(add_list, migrations.RunPython.noop)]
