-- Version 3. A migration has run this text: a change to it is a new file and a new migration.

-- A row of the trail is only ever added. One thing alone may be done to it, in a transaction that says so
-- (SET LOCAL audit.erasing = 'on'): parts that may hold a name are taken out, and each leaves its digest in
-- "erased", from which no digest is ever lost.
CREATE OR REPLACE FUNCTION audit_refuse_change() RETURNS trigger LANGUAGE plpgsql AS $$
DECLARE
    parts text[] := ARRAY['actor_name', 'changes', 'reason', 'way_detail', 'before', 'after'];
    was jsonb := to_jsonb(OLD);
    becomes jsonb;
BEGIN
    IF TG_OP = 'UPDATE' AND coalesce(current_setting('audit.erasing', true), '') = 'on' THEN
        becomes := to_jsonb(NEW);
        IF was - parts - 'erased' = becomes - parts - 'erased'
            AND (becomes -> 'erased') @> (was -> 'erased')
            AND NOT EXISTS (
                SELECT FROM unnest(parts) part
                WHERE was -> part IS DISTINCT FROM becomes -> part
                    AND (becomes -> 'erased' ->> part) !~ '^[0-9a-f]{64}$' IS NOT FALSE
            )
        THEN
            RETURN NEW;
        END IF;
    END IF;
    RAISE EXCEPTION 'audit rows are only ever added' USING ERRCODE = 'restrict_violation';
END
$$;
