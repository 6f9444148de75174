-- Version 2. A migration has run this text: a change to it is a new file and a new migration.

-- Arguments: the column of the parent row, or '' where the row is a record of its own. A new record is noted; what comes
-- with it in the same transaction is no change of it and is not. What is added to an older record is noted once for each
-- record and statement.
--
-- Rows are put together by their record before these are looked up, and those of the transaction are read once: PostgreSQL
-- keeps the plan that it made for the few rows of one visit, and then held each of a sheet's thousands against each visit.
-- No parent is NULL, so that NOT IN says what NOT EXISTS says.
CREATE OR REPLACE FUNCTION audit_note_added() RETURNS trigger LANGUAGE plpgsql
    -- As portal/accounts/role.py says it again after each run of migrations; whoever writes meanwhile needs it too.
    SECURITY DEFINER SET search_path FROM CURRENT
AS $$
BEGIN
    IF TG_ARGV[0] = '' THEN
        INSERT INTO audit_rowchange ("table", "row", parent, operation, before, after, database_user)
            SELECT TG_TABLE_NAME, to_jsonb(added) ->> 'id', '', 'added', '{}', '{}', session_user FROM added;
        RETURN NULL;
    END IF;
    INSERT INTO audit_rowchange ("table", "row", parent, operation, before, after, database_user)
        SELECT TG_TABLE_NAME, '', part.parent, 'added', '{}', jsonb_build_object('rows', part.number), session_user
        FROM (SELECT to_jsonb(added) ->> TG_ARGV[0] AS parent, count(*) AS number FROM added GROUP BY 1) part
        WHERE part.parent NOT IN (
            SELECT made."row" FROM audit_rowchange made
            WHERE made."table" = TG_ARGV[1] AND made.operation = 'added' AND made.transaction = audit_transaction()
        );
    RETURN NULL;
END
$$;
