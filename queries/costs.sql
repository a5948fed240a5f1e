-- costs.sql: every cost of the ledger, each amount in one row: what was paid or lost, for what, where.
-- Params:  none (entries_live holds to as_of)
-- Reads:   entries_live, ledgers, components, slots, parts, renewal_costs, jobs
-- Columns: ledger, machine, component, position VARCHAR (component and position NULL: the machine as a
--          whole; machine NULL too: the plant); part VARCHAR (number of the new part); mode VARCHAR (as
--          the renewal states it); kind VARCHAR: corrective | preventive | expense | other;
--          class VARCHAR: parts | labour | downtime | extra | expense; time TIMESTAMP (UTC; under a job
--          the job's); job VARCHAR; cause VARCHAR: failed | planned | along (NULL: no renewal);
--          shared BOOLEAN (whether the amount is an even share of the job's, not its own);
--          amount DECIMAL(38,4) (money of the ledger in whole smallest units; NULL: no price is known);
--          what VARCHAR (of an expense); sha VARCHAR (the renewal, expense or job)
-- Unique and ordered by: ledger, time, machine, component, position, class, sha
-- Checked: tests/queries/costs/ (a table a case; the books are in tests/queries/ledgers/)
--
-- The money of a ledger, and where it goes:
--   a renewal under a job      its parts, and its share of the job as renewal_costs tells it;
--   any other renewal          its parts alone: `replaced`, or `installed` where an item was taken out
--                              before, with another serial or none, outside a job or under another
--                              one. The first item a slot is known to hold was not bought here;
--   a job that renewed nothing its labour, downtime and extra cost, to the machine;
--   an expense                 its cost, to the machine, or to the plant where it names none.
-- Kind is the job's. Without a job: corrective where the old item had failed or was found worn while
-- running, preventive where it was planned, exposed or found worn at an inspection, else other.
-- Shares are cut so that those of a job add up to it in the currency's smallest units.
-- A renewal has a row for its parts, and a job that renewed nothing one for its labour, even if
-- nothing was paid; of other amounts those that are 0 have no row.
WITH units AS (
    SELECT ledger, CAST(power(10, decimals) AS BIGINT) AS per_unit FROM ledgers
),
moves AS (
    SELECT *,
        lag(kind) OVER slot AS before_kind, lag(reason) OVER slot AS before_reason,
        lag(found) OVER slot AS before_found, lag(mode) OVER slot AS before_mode,
        last_value(CASE WHEN kind <> 'removed' THEN coalesce(serial, '') END IGNORE NULLS) OVER (
            PARTITION BY ledger, machine, component, "position" ORDER BY "time", logged, book, line
            ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING) AS old_serial
    FROM entries_live
    WHERE kind IN ('installed', 'replaced', 'removed')
    WINDOW slot AS (PARTITION BY ledger, machine, component, "position"
                    ORDER BY "time", logged, book, line)
),
renewals AS (
    SELECT ledger, machine, component, "position", "time", sha, job, part, pieces,
        CASE WHEN kind = 'replaced' THEN reason ELSE before_reason END AS reason,
        CASE WHEN kind = 'replaced' THEN found ELSE before_found END AS found,
        CASE WHEN kind = 'replaced' THEN mode ELSE before_mode END AS mode
    FROM moves
    WHERE (kind = 'replaced' OR (kind = 'installed' AND before_kind = 'removed'))
        AND (serial IS NULL OR serial IS DISTINCT FROM old_serial)
),
-- Shares in smallest units: each the step of the rounded running sum.
shares AS (
    SELECT r.ledger, r.sha, r.kind AS cause, r.bears, r.parts, u.per_unit,
        round(sum(r.labour) OVER job_so_far * u.per_unit, 0)
            - round((sum(r.labour) OVER job_so_far - r.labour) * u.per_unit, 0) AS labour,
        round(sum(r.downtime) OVER job_so_far * u.per_unit, 0)
            - round((sum(r.downtime) OVER job_so_far - r.downtime) * u.per_unit, 0) AS downtime,
        round(sum(r.extra) OVER job_so_far * u.per_unit, 0)
            - round((sum(r.extra) OVER job_so_far - r.extra) * u.per_unit, 0) AS extra
    FROM renewal_costs AS r
    JOIN units AS u USING (ledger)
    WINDOW job_so_far AS (PARTITION BY r.ledger, r.machine, r.job
                          ORDER BY r.component, r."position", r."time", r.sha
                          ROWS UNBOUNDED PRECEDING)
),
renewed AS (
    SELECT r.ledger, r.machine, r.component, r."position", r.part, r.mode, r.job, r.sha, u.per_unit,
        coalesce(j."time", r."time") AS "time",
        CASE
            WHEN j.kind IS NOT NULL THEN j.kind
            WHEN r.reason = 'failed' OR (r.reason = 'worn' AND r.found IS DISTINCT FROM 'inspection') THEN 'corrective'
            WHEN r.reason IN ('planned', 'opportunity', 'worn') THEN 'preventive'
            ELSE 'other'
        END AS kind,
        CASE
            WHEN s.cause IS NOT NULL THEN s.cause
            WHEN r.reason = 'failed' OR (r.reason = 'worn' AND r.found IS DISTINCT FROM 'inspection') THEN 'failed'
            WHEN r.reason IN ('planned', 'worn') THEN 'planned'
            ELSE 'along'
        END AS cause,
        round(CASE WHEN s.sha IS NOT NULL THEN s.parts
                   ELSE coalesce(r.pieces, l.pieces, c.pieces, 1) * coalesce(p.price, c.price) END
              * u.per_unit, 0) AS parts,
        s.bears, s.labour, s.downtime, s.extra
    FROM renewals AS r
    JOIN units AS u USING (ledger)
    LEFT JOIN shares AS s ON s.ledger = r.ledger AND s.sha = r.sha
    LEFT JOIN jobs AS j ON j.ledger = r.ledger AND j.machine = r.machine AND j.job = r.job
    LEFT JOIN components AS c ON c.ledger = r.ledger AND c.component = r.component
    LEFT JOIN slots AS l
        ON l.ledger = r.ledger AND l.machine = r.machine AND l.component = r.component
        AND l."position" = r."position"
    LEFT JOIN parts AS p ON p.ledger = r.ledger AND p.component = r.component AND p.part = r.part
),
whole_jobs AS (
    SELECT j.*, u.per_unit
    FROM jobs AS j
    JOIN units AS u USING (ledger)
    ANTI JOIN renewal_costs AS r ON r.ledger = j.ledger AND r.machine = j.machine AND r.job = j.job
),
items AS (
    SELECT ledger, machine, component, "position", part, mode, kind, 'parts' AS class, "time", job, cause,
        false AS shared, parts AS units, per_unit, NULL AS what, sha
    FROM renewed
    UNION ALL
    SELECT ledger, machine, component, "position", part, mode, kind, 'labour', "time", job, cause,
        bears, labour, per_unit, NULL, sha
    FROM renewed WHERE labour <> 0
    UNION ALL
    SELECT ledger, machine, component, "position", part, mode, kind, 'downtime', "time", job, cause,
        true, downtime, per_unit, NULL, sha
    FROM renewed WHERE downtime <> 0
    UNION ALL
    SELECT ledger, machine, component, "position", part, mode, kind, 'extra', "time", job, cause,
        true, extra, per_unit, NULL, sha
    FROM renewed WHERE extra <> 0
    UNION ALL
    SELECT ledger, machine, NULL, NULL, NULL, NULL, kind, 'labour', "time", job, NULL,
        false, labour * per_unit, per_unit, NULL, sha
    FROM whole_jobs
    UNION ALL
    SELECT ledger, machine, NULL, NULL, NULL, NULL, kind, 'downtime', "time", job, NULL,
        false, downtime * per_unit, per_unit, NULL, sha
    FROM whole_jobs WHERE downtime IS DISTINCT FROM 0
    UNION ALL
    SELECT ledger, machine, NULL, NULL, NULL, NULL, kind, 'extra', "time", job, NULL,
        false, extra * per_unit, per_unit, NULL, sha
    FROM whole_jobs WHERE extra <> 0
    UNION ALL
    SELECT e.ledger, e.machine, NULL, NULL, NULL, NULL, 'expense', 'expense', e."time", e.job, NULL,
        false, round(e.cost * u.per_unit, 0), u.per_unit, e.what, e.sha
    FROM entries_live AS e
    JOIN units AS u USING (ledger)
    WHERE e.kind = 'expense'
)
SELECT ledger, machine, component, "position", part, mode, kind, class, "time", job, cause, shared,
    CAST(CAST(i.units AS HUGEINT) * (10000 // per_unit) * 0.0001 AS DECIMAL(38, 4)) AS amount,
    what, sha
FROM items AS i
ORDER BY ledger, "time", machine, component, "position", class, sha
