"""The database's own history: every change of a row, whoever makes it, told apart from what the portal explains."""

from pathlib import Path

from django.db import migrations, models
from django.db.models.functions import Now

from portal.audit.models import Transaction

FUNCTIONS = (Path(__file__).parents[1] / "sql" / "row_changes_1.sql").read_text(encoding="utf-8")
REMOVE = """
DROP FUNCTION audit_note_added() CASCADE;
DROP FUNCTION audit_note_change() CASCADE;
DROP FUNCTION audit_shortened(jsonb);
"""
TRANSACTION = """
CREATE FUNCTION audit_transaction() RETURNS text LANGUAGE sql STABLE AS $$
    SELECT pg_current_xact_id()::text || '@' || floor(extract(epoch FROM transaction_timestamp()))::bigint
$$;
"""
APPEND_ONLY = """
CREATE TRIGGER row_changes_append_only BEFORE UPDATE OR DELETE ON audit_rowchange
    FOR EACH ROW EXECUTE FUNCTION audit_refuse_change();
"""


class Migration(migrations.Migration):
    dependencies = [("audit", "0002_append_only")]

    operations = [
        migrations.RunSQL(TRANSACTION, "DROP FUNCTION audit_transaction()"),
        # In two steps: entries of before were made in transactions that nobody knows any more.
        migrations.AddField("auditentry", "transaction", models.TextField(null=True, editable=False)),
        migrations.AlterField(
            "auditentry",
            "transaction",
            models.TextField(
                null=True,
                editable=False,
                db_default=Transaction(),
                help_text="Empty before this was kept.",
            ),
        ),
        migrations.AddIndex(
            "auditentry", models.Index(fields=["transaction"], name="audit_entry_by_transaction")
        ),
        migrations.CreateModel(
            name="RowChange",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("at", models.DateTimeField(db_default=Now())),
                ("transaction", models.TextField(db_default=Transaction())),
                ("table", models.CharField(max_length=63)),
                ("row", models.CharField(blank=True, max_length=40)),
                ("parent", models.CharField(blank=True, max_length=40)),
                (
                    "operation",
                    models.CharField(
                        choices=[("added", "added"), ("changed", "changed"), ("deleted", "deleted")],
                        max_length=7,
                    ),
                ),
                ("before", models.JSONField(default=dict)),
                ("after", models.JSONField(default=dict)),
                ("database_user", models.CharField(max_length=63)),
            ],
            options={
                "ordering": ["id"],
                "indexes": [
                    models.Index(fields=["table", "row"], name="row_change_by_row"),
                    models.Index(
                        fields=["parent"], condition=~models.Q(parent=""), name="row_change_by_parent"
                    ),
                    models.Index(fields=["transaction"], name="row_change_by_transaction"),
                ],
            },
        ),
        migrations.RunSQL(FUNCTIONS, REMOVE),
        migrations.RunSQL(APPEND_ONLY, "DROP TRIGGER row_changes_append_only ON audit_rowchange"),
    ]
