"""What is added to records is noted by one look at the transaction, however many rows come at once."""

from pathlib import Path

from django.db import migrations

SQL = Path(__file__).parents[1] / "sql"
FUNCTION = (SQL / "note_added_2.sql").read_text(encoding="utf-8")
BEFORE = (SQL / "row_changes_1.sql").read_text(encoding="utf-8")
# Of that file the last function; the others are as they were.
OF_BEFORE = BEFORE[BEFORE.index("CREATE FUNCTION audit_note_added()") :].replace(
    "CREATE", "CREATE OR REPLACE", 1
)


class Migration(migrations.Migration):
    dependencies = [("audit", "0007_fewer_indexes")]

    operations = [migrations.RunSQL(FUNCTION, OF_BEFORE)]
