"""How an entry came, from where, and the chain over the trail and the database's own history."""

from pathlib import Path

from django.db import migrations, models
from django.db.models.functions import Now

SQL = Path(__file__).parents[1] / "sql"
PARTS_3 = (SQL / "refuse_change_3.sql").read_text(encoding="utf-8")
PARTS_2 = (SQL / "refuse_change_2.sql").read_text(encoding="utf-8")
CHAIN = (SQL / "chain_1.sql").read_text(encoding="utf-8")
UNCHAIN = """
DROP FUNCTION audit_await_seal() CASCADE;
DROP FUNCTION audit_refuse_truncate() CASCADE;
"""


class Migration(migrations.Migration):
    dependencies = [
        ("audit", "0005_erasing"),
    ]

    operations = [
        migrations.CreateModel(
            name="EntryAddress",
            fields=[
                ("entry", models.UUIDField(primary_key=True, serialize=False)),
                ("address", models.GenericIPAddressField()),
                (
                    "at",
                    models.DateTimeField(db_default=Now(), db_index=True),
                ),
            ],
        ),
        migrations.CreateModel(
            name="Waiting",
            fields=[
                ("id", models.BigAutoField(primary_key=True, serialize=False)),
                ("entry", models.UUIDField(null=True)),
                ("change", models.BigIntegerField(null=True)),
                ("since", models.DateTimeField(db_default=Now())),
            ],
        ),
        migrations.AddField(
            model_name="auditentry",
            name="way",
            field=models.CharField(
                blank=True,
                choices=[
                    ("page", "on a page"),
                    ("interface", "by the interface"),
                    ("link", "by a link that was sent"),
                    ("job", "by long work"),
                    ("import", "from a spreadsheet"),
                    ("task", "by the portal's own clock"),
                    ("command", "by a command on the server"),
                ],
                db_default="",
                help_text="How it came into the portal. Empty before this was kept.",
                max_length=9,
            ),
        ),
        migrations.AddField(
            model_name="auditentry",
            name="way_detail",
            field=models.CharField(
                blank=True,
                db_default="",
                help_text="Which key, link, kind of work, task or command.",
                max_length=80,
            ),
        ),
        migrations.CreateModel(
            name="Link",
            fields=[
                ("number", models.BigIntegerField(primary_key=True, serialize=False)),
                ("entry", models.UUIDField(null=True, unique=True)),
                ("change", models.BigIntegerField(null=True, unique=True)),
                ("digest", models.CharField(max_length=64)),
                ("seal", models.CharField(max_length=64)),
                ("sealed_at", models.DateTimeField(db_default=Now())),
            ],
            options={
                "ordering": ["number"],
                "constraints": [
                    models.CheckConstraint(
                        condition=models.Q(
                            models.Q(("change__isnull", False), ("entry", None)),
                            models.Q(("change", None), ("entry__isnull", False)),
                            _connector="OR",
                        ),
                        name="link_of_one_row",
                    )
                ],
            },
        ),
        migrations.RunSQL(PARTS_3, PARTS_2),
        migrations.RunSQL(CHAIN, UNCHAIN),
    ]
