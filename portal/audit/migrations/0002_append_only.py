"""The database itself refuses to change or delete an audit row.

TRUNCATE stays possible: it needs the owner's own hand, and tests empty their tables with it.
"""

from django.db import migrations

REFUSE = """
CREATE FUNCTION audit_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'audit rows are only ever added' USING ERRCODE = 'restrict_violation';
END
$$;
CREATE TRIGGER audit_append_only BEFORE UPDATE OR DELETE ON audit_auditentry
    FOR EACH ROW EXECUTE FUNCTION audit_refuse_change();
"""
ALLOW = """
DROP TRIGGER audit_append_only ON audit_auditentry;
DROP FUNCTION audit_refuse_change();
"""


class Migration(migrations.Migration):
    dependencies = [("audit", "0001_initial")]

    operations = [migrations.RunSQL(REFUSE, ALLOW)]
