-- slot_stays.sql: one row per stay of an item in a slot, from the line that put it in to the line that took it out.
-- Params:  $1 as_of TIMESTAMP, UTC: a stay still running counts its usage up to here
-- Reads:   entries_live, usage_at, usage_now, components
-- Columns: ledger, machine, component, position VARCHAR; start_time, end_time TIMESTAMP (UTC; end NULL: still in);
--          part, batch, serial VARCHAR; pieces BIGINT; age DOUBLE (usage on it when put in); age_unknown BOOLEAN;
--          reason, found, mode VARCHAR (why it left; reason NULL: still in, or another item was put in its place
--          without a word); start_usage, end_usage DOUBLE (of the machine); usage DOUBLE (run in this stay);
--          start_extrapolated, end_extrapolated BOOLEAN (that usage lies more than a day beyond the meter readings); start_sha, end_sha VARCHAR;
--          start_job, end_job VARCHAR (jobs of the two lines)
-- Unique and ordered by: ledger, machine, component, position, start_time, start_sha
-- Checked: tests/queries/slot_stays/ (a table a case; the books are in tests/queries/ledgers/)
--
-- Entries follow one another by time, then logged, then book and line.
WITH moves AS (
    SELECT *
    FROM entries_live
    WHERE kind IN ('installed', 'replaced', 'removed')
),
stays AS (
    SELECT ledger, machine, component, "position", kind, "time" AS start_time, part, batch, serial, pieces,
        coalesce(age, 0) AS age, coalesce(age_unknown, false) AS age_unknown,
        sha AS start_sha, job AS start_job,
        lead("time") OVER slot AS end_time,
        lead(sha) OVER slot AS end_sha,
        lead(job) OVER slot AS end_job,
        CASE WHEN lead(kind) OVER slot <> 'installed' THEN lead(reason) OVER slot END AS reason,
        CASE WHEN lead(kind) OVER slot <> 'installed' THEN lead(found) OVER slot END AS found,
        CASE WHEN lead(kind) OVER slot <> 'installed' THEN lead(mode) OVER slot END AS mode
    FROM moves
    WINDOW slot AS (PARTITION BY ledger, machine, component, "position"
                    ORDER BY "time", logged, book, line)
    QUALIFY kind <> 'removed'
)
SELECT s.ledger, s.machine, s.component, s."position", s.start_time, s.end_time,
    s.part, s.batch, s.serial, s.pieces, s.age, s.age_unknown,
    s.reason, s.found, s.mode,
    a.usage AS start_usage,
    CASE WHEN s.end_sha IS NULL THEN n.usage ELSE z.usage END AS end_usage,
    end_usage - start_usage AS usage,
    coalesce(a.extrapolated, false) AS start_extrapolated,
    coalesce(CASE WHEN s.end_sha IS NULL THEN n.extrapolated ELSE z.extrapolated END, false) AS end_extrapolated,
    s.start_sha, s.end_sha, s.start_job, s.end_job
FROM stays AS s
LEFT JOIN components AS c ON c.ledger = s.ledger AND c.component = s.component
LEFT JOIN usage_at AS a ON a.ledger = s.ledger AND a.sha = s.start_sha
LEFT JOIN usage_at AS z ON z.ledger = s.ledger AND z.sha = s.end_sha
LEFT JOIN usage_now AS n ON n.ledger = s.ledger AND n.machine = s.machine AND n.meter = c.meter
ORDER BY s.ledger, s.machine, s.component, s."position", s.start_time, s.start_sha
