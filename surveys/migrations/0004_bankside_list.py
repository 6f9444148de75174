"""The built-in recording list of six broad groups."""

from django.db import migrations

from surveys.services.built_in_lists import ensure_bankside_list


def add_list(apps, schema_editor):
    ensure_bankside_list(apps.get_model("surveys", "RecordingList"), apps.get_model("surveys", "ListTaxon"))


class Migration(migrations.Migration):
    dependencies = [("surveys", "0003_fraction_sorted")]

    operations = [migrations.RunPython(add_list, migrations.RunPython.noop)]
