-- entries_live.sql: the facts of the books as they stood at a moment: what was logged by then and not withdrawn by then.
-- Params:  $1 as_of TIMESTAMP, UTC (no clock function in any query)
-- Reads:   entries
-- Columns: ledger, book VARCHAR; line BIGINT (from 1); sha VARCHAR (the line's own); kind VARCHAR (of entry);
--          time, logged TIMESTAMP (UTC); who, machine VARCHAR;
--          meter VARCHAR; value DOUBLE (as read, in its own unit); reset BOOLEAN;
--          component, position, part VARCHAR; pieces BIGINT; batch, serial VARCHAR;
--          age DOUBLE (usage already on a new item, 0 where not stated); age_unknown BOOLEAN (stated as unknown);
--          reason, mode, found, finding VARCHAR; quantity, unit, zone VARCHAR; span, new_value DOUBLE;
--          job VARCHAR; start, stop TIMESTAMP; job_kind VARCHAR: corrective | preventive;
--          labour_h, downtime_h, cost DECIMAL(18,4); what, note VARCHAR
-- Unique and ordered by: ledger, book, line
-- Checked: tests/queries/entries_live/ (a table a case; the books are in tests/queries/ledgers/)
--
-- An entry counts if both what it tells and its logging lie at or before as_of, so that
-- the answer for a past date never changes as the books grow. A withdrawal is an entry
-- too and counts by the same rule; it cannot itself be withdrawn. `entry_sha` may be the first
-- 12 or more digits.
-- Lines that tell nothing of the plant (opened, withdrawn) are left out.
WITH known AS (
    SELECT *
    FROM entries
    WHERE "time" <= $1 AND coalesce(logged, "time") <= $1
),
struck AS (
    SELECT ledger, entry_sha, left(entry_sha, 12) AS short
    FROM known
    WHERE kind = 'withdrawn'
)
SELECT
    e.ledger, e.book, e.line, e.sha, e.kind,
    e."time", e.logged, e.who, e.machine,
    e.meter, e.value, e.reset,
    e.component, e."position", e.part, e.pieces, e.batch, e.serial, e.age, e.age_unknown,
    e.reason, e.mode, e.found, e.finding,
    e.quantity, e.unit, e.zone, e.span, e.new_value,
    e.job, e.start, e.stop, e.job_kind, e.labour_h, e.downtime_h, e.cost,
    e.what, e.note
FROM known AS e
ANTI JOIN struck AS s
    ON s.ledger = e.ledger AND s.short = left(e.sha, 12) AND starts_with(e.sha, s.entry_sha)
WHERE e.kind NOT IN ('opened', 'withdrawn')
ORDER BY e.ledger, e.book, e.line
