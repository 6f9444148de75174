"""Takes an index away that another one begins with: it was written with every entry of the trail."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    # Rows go on being written meanwhile: Django's own way would hold them up.
    atomic = False

    dependencies = [
        ("accounts", "0004_addresschange"),
        ("audit", "0006_chain"),
    ]

    operations = [
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "audit_auditentry_group_id_5906d424"',
            'CREATE INDEX CONCURRENTLY "audit_auditentry_group_id_5906d424" ON "audit_auditentry" ("group_id")',
            state_operations=[
                migrations.AlterField(
                    "auditentry",
                    "group",
                    models.ForeignKey(
                        db_index=False,
                        null=True,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="+",
                        to="accounts.group",
                    ),
                ),
            ],
        ),
    ]
