from django.db import migrations


class Migration(migrations.Migration):
    """What the rule for migrations allows: old code, which knows nothing of it, goes on writing."""

    dependencies = [("surveys", "0001_initial")]
    operations = [
        migrations.RunSQL("ALTER TABLE surveys_visit ADD COLUMN next_word varchar(20) NOT NULL DEFAULT ''"),
        migrations.RunSQL(
            "CREATE TABLE next_thing (id bigint PRIMARY KEY, visit_id uuid REFERENCES surveys_visit)"
        ),
    ]
