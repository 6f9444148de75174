"""A published report stays as it is: the database itself refuses to change its row."""

from django.db import migrations

GUARD = """
CREATE FUNCTION refuse_change_of_published_report() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'a published report is never changed; make a new edition' USING ERRCODE = 'check_violation';
END $$;
CREATE TRIGGER published_report_stays BEFORE UPDATE ON reports_yearlyreport
    FOR EACH ROW WHEN (OLD.state = 'published') EXECUTE FUNCTION refuse_change_of_published_report();
"""
UNGUARD = """
DROP TRIGGER published_report_stays ON reports_yearlyreport;
DROP FUNCTION refuse_change_of_published_report();
"""


class Migration(migrations.Migration):
    dependencies = [("reports", "0001_initial")]

    operations = [migrations.RunSQL(GUARD, UNGUARD)]
