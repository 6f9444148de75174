-- Version 1. A migration has run this text: a change to it is a new file and a new migration.

-- Long values (a report's figures, a text of pages) are kept as their length and fingerprint.
CREATE FUNCTION audit_shortened(value jsonb) RETURNS jsonb LANGUAGE sql IMMUTABLE AS $$
    SELECT CASE WHEN length(value::text) > 2000
        THEN jsonb_build_object('length', length(value::text), 'sha256', encode(sha256(convert_to(value::text, 'UTF8')), 'hex'))
        ELSE value END
$$;

-- Arguments: the column of the parent row or ''; 'hidden' where values are personal and only columns are named.
CREATE FUNCTION audit_note_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    old_row jsonb := to_jsonb(OLD);
    new_row jsonb := CASE WHEN TG_OP = 'UPDATE' THEN to_jsonb(NEW) ELSE '{}'::jsonb END;
    was jsonb;
    became jsonb;
BEGIN
    -- A save that changes nothing is no change.
    IF old_row = new_row THEN
        RETURN NULL;
    END IF;
    SELECT coalesce(jsonb_object_agg(key, CASE WHEN TG_ARGV[1] = 'hidden' THEN '"…"'::jsonb ELSE audit_shortened(value) END), '{}')
        INTO was FROM jsonb_each(old_row) WHERE TG_OP = 'DELETE' OR value IS DISTINCT FROM new_row -> key;
    SELECT coalesce(jsonb_object_agg(key, CASE WHEN TG_ARGV[1] = 'hidden' THEN '"…"'::jsonb ELSE audit_shortened(value) END), '{}')
        INTO became FROM jsonb_each(new_row) WHERE value IS DISTINCT FROM old_row -> key;
    INSERT INTO audit_rowchange ("table", "row", parent, operation, before, after, database_user)
        VALUES (
            TG_TABLE_NAME, coalesce(old_row ->> 'id', ''), coalesce(old_row ->> nullif(TG_ARGV[0], ''), ''),
            CASE TG_OP WHEN 'UPDATE' THEN 'changed' ELSE 'deleted' END, was, became, session_user
        );
    RETURN NULL;
END
$$;

-- Arguments: the column of the parent row, or '' where the row is a record of its own. A new record is noted; what comes
-- with it in the same transaction is no change of it and is not. What is added to an older record is noted once for each
-- record and statement.
CREATE FUNCTION audit_note_added() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_ARGV[0] = '' THEN
        INSERT INTO audit_rowchange ("table", "row", parent, operation, before, after, database_user)
            SELECT TG_TABLE_NAME, to_jsonb(added) ->> 'id', '', 'added', '{}', '{}', session_user FROM added;
        RETURN NULL;
    END IF;
    INSERT INTO audit_rowchange ("table", "row", parent, operation, before, after, database_user)
        SELECT TG_TABLE_NAME, '', part.parent, 'added', '{}', jsonb_build_object('rows', count(*)), session_user
        FROM (SELECT to_jsonb(added) ->> TG_ARGV[0] AS parent FROM added) part
        WHERE NOT EXISTS (
            SELECT FROM audit_rowchange made
            WHERE made."table" = TG_ARGV[1] AND made."row" = part.parent AND made.operation = 'added'
                AND made.transaction = audit_transaction()
        )
        GROUP BY part.parent;
    RETURN NULL;
END
$$;
