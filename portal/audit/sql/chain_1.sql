-- Version 1. A migration has run this text: a change to it is a new file and a new migration.

-- Every new row of the trail and of the history waits to be sealed from the moment it is committed.
CREATE FUNCTION audit_await_seal() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_TABLE_NAME = 'audit_auditentry' THEN
        INSERT INTO audit_waiting (entry, since) SELECT id, clock_timestamp() FROM added;
    ELSE
        INSERT INTO audit_waiting (change, since) SELECT id, clock_timestamp() FROM added;
    END IF;
    RETURN NULL;
END
$$;
CREATE TRIGGER audit_await_seal AFTER INSERT ON audit_auditentry REFERENCING NEW TABLE AS added
    FOR EACH STATEMENT EXECUTE FUNCTION audit_await_seal();
CREATE TRIGGER audit_await_seal AFTER INSERT ON audit_rowchange REFERENCING NEW TABLE AS added
    FOR EACH STATEMENT EXECUTE FUNCTION audit_await_seal();

-- Neither trail nor history nor chain is ever emptied, not by the owner of the tables either.
CREATE FUNCTION audit_refuse_truncate() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'audit rows are only ever added' USING ERRCODE = 'restrict_violation';
END
$$;
CREATE TRIGGER audit_never_emptied BEFORE TRUNCATE ON audit_auditentry
    FOR EACH STATEMENT EXECUTE FUNCTION audit_refuse_truncate();
CREATE TRIGGER audit_never_emptied BEFORE TRUNCATE ON audit_rowchange
    FOR EACH STATEMENT EXECUTE FUNCTION audit_refuse_truncate();
CREATE TRIGGER audit_never_emptied BEFORE TRUNCATE ON audit_link
    FOR EACH STATEMENT EXECUTE FUNCTION audit_refuse_truncate();
CREATE TRIGGER audit_append_only BEFORE UPDATE OR DELETE ON audit_link
    FOR EACH ROW EXECUTE FUNCTION audit_refuse_truncate();

-- What was written before there was a chain is sealed as it stands.
INSERT INTO audit_waiting (entry, since) SELECT id, clock_timestamp() FROM audit_auditentry ORDER BY at, id;
INSERT INTO audit_waiting (change, since) SELECT id, clock_timestamp() FROM audit_rowchange ORDER BY id;
