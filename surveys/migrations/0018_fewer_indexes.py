"""Takes indexes away that another one begins with: each was written with every row of every visit."""

import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):
    # Rows go on being written meanwhile: Django's own way would hold them up.
    atomic = False

    dependencies = [
        ("accounts", "0004_addresschange"),
        ("surveys", "0017_visit_newest"),
    ]

    operations = [
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "surveys_measurement_visit_id_ae601b77"',
            'CREATE INDEX CONCURRENTLY "surveys_measurement_visit_id_ae601b77" ON "surveys_measurement" ("visit_id")',
            state_operations=[
                migrations.AlterField(
                    "measurement",
                    "visit",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="measurements",
                        to="surveys.visit",
                    ),
                ),
            ],
        ),
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "surveys_spoteffort_visit_id_cec73416"',
            'CREATE INDEX CONCURRENTLY "surveys_spoteffort_visit_id_cec73416" ON "surveys_spoteffort" ("visit_id")',
            state_operations=[
                migrations.AlterField(
                    "spoteffort",
                    "visit",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="spots",
                        to="surveys.visit",
                    ),
                ),
            ],
        ),
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "surveys_taxoncount_visit_id_1bba837c"',
            'CREATE INDEX CONCURRENTLY "surveys_taxoncount_visit_id_1bba837c" ON "surveys_taxoncount" ("visit_id")',
            state_operations=[
                migrations.AlterField(
                    "taxoncount",
                    "visit",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="counts",
                        to="surveys.visit",
                    ),
                ),
            ],
        ),
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "surveys_timedkick_spot_id_1a335adb"',
            'CREATE INDEX CONCURRENTLY "surveys_timedkick_spot_id_1a335adb" ON "surveys_timedkick" ("spot_id")',
            state_operations=[
                migrations.AlterField(
                    "timedkick",
                    "spot",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="timed",
                        to="surveys.spoteffort",
                    ),
                ),
            ],
        ),
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "surveys_visit_group_id_8cd0e65b"',
            'CREATE INDEX CONCURRENTLY "surveys_visit_group_id_8cd0e65b" ON "surveys_visit" ("group_id")',
            state_operations=[
                migrations.AlterField(
                    "visit",
                    "group",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.CASCADE,
                        related_name="visits",
                        to="accounts.group",
                    ),
                ),
            ],
        ),
        migrations.RunSQL(
            'DROP INDEX CONCURRENTLY IF EXISTS "surveys_visit_site_id_9cd64dc2"',
            'CREATE INDEX CONCURRENTLY "surveys_visit_site_id_9cd64dc2" ON "surveys_visit" ("site_id")',
            state_operations=[
                migrations.AlterField(
                    "visit",
                    "site",
                    models.ForeignKey(
                        db_index=False,
                        on_delete=django.db.models.deletion.PROTECT,
                        related_name="visits",
                        to="surveys.site",
                    ),
                ),
            ],
        ),
    ]
