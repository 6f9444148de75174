"""Names can be taken out of the trail, and out of the database's own history, by their digests and in no other way."""

from pathlib import Path

from django.db import migrations, models

REFUSE = (Path(__file__).parents[1] / "sql" / "refuse_change_2.sql").read_text(encoding="utf-8")
REFUSE_ALL = """
CREATE OR REPLACE FUNCTION audit_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'audit rows are only ever added' USING ERRCODE = 'restrict_violation';
END
$$;
"""
ERASED = {
    "default": dict,
    "db_default": {},
    "editable": False,
    "help_text": "Part that was taken out to its digest.",
}


class Migration(migrations.Migration):
    dependencies = [("audit", "0004_entries_by_group")]

    operations = [
        migrations.AddField("auditentry", "erased", models.JSONField(**ERASED)),
        migrations.AddField("rowchange", "erased", models.JSONField(**ERASED)),
        migrations.RunSQL(REFUSE, REFUSE_ALL),
    ]
