from django.db import migrations


class Migration(migrations.Migration):
    atomic = False
    dependencies = [("next_release", "0001_more_of_a_visit")]
    operations = [migrations.RunSQL("CREATE INDEX CONCURRENTLY next_word ON surveys_visit (next_word)")]
