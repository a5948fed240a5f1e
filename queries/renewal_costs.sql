-- renewal_costs.sql: what each renewal under a job cost: parts, labour, downtime, extra cost.
-- Params:  none (entries_live holds to as_of)
-- Reads:   entries_live, ledgers, machines, components, slots, parts
-- Columns: ledger, machine, component, position, job VARCHAR; time TIMESTAMP (UTC); reason VARCHAR;
--          kind VARCHAR: failed | planned | along; pieces BIGINT;
--          parts, labour, downtime, extra, total DECIMAL(38,4) (money of the ledger;
--          parts and total NULL where no price is known); bears BOOLEAN (whether it shares the
--          job's downtime, extra cost and labour evenly); sha VARCHAR (line of the renewal)
-- Unique and ordered by: ledger, job, machine, component, position, time, sha
-- Checked: tests/queries/renewal_costs/ (a table a case; the books are in tests/queries/ledgers/)
--
-- A renewal is a `replaced` line, or a `removed` line and the next `installed` line of the
-- slot, under one job; putting the same serial back is none. Its kind:
--   failed   the renewal was forced: the old item failed, or was worn out and found running,
--            or was found worn in a corrective job;
--   planned  what a preventive job was for: planned, or worn at an inspection; where it renewed
--            nothing of that kind, whatever it renewed as an opportunity;
--   along    all else: renewed along because it was exposed, damaged, changed type.
-- Sharing. The slots a job was for (forced in a corrective job; planned, worn or failed in a
-- preventive one) share its downtime, extra cost and labour evenly; the others carry their
-- parts and their own labour, which is first taken out of the job's labour as far as that
-- reaches. In a job that was for none of its slots, all share evenly. Shares are cut in
-- ten-thousandths so that they add up to the job's whole. A job whose machine or entry is
-- missing gives no row.
WITH jobs AS (
    SELECT e.ledger, e.machine, e.job,
        bool_or(e.job_kind = 'corrective') AS corrective,
        CAST(round(coalesce(sum(e.labour_h), 0) * any_value(l.labour_rate) * 10000, 0) AS HUGEINT) AS labour,
        CAST(round(coalesce(sum(e.downtime_h), 0) * any_value(m.downtime_cost) * 10000, 0) AS HUGEINT) AS downtime,
        CAST(round(coalesce(sum(e.cost), 0) * 10000, 0) AS HUGEINT) AS extra
    FROM entries_live AS e
    JOIN ledgers AS l USING (ledger)
    JOIN machines AS m USING (ledger, machine)
    WHERE e.kind = 'job' AND e.job IS NOT NULL
    GROUP BY e.ledger, e.machine, e.job
),
moves AS (
    SELECT *,
        lag(kind) OVER slot AS before_kind, lag(job) OVER slot AS before_job,
        lag(reason) OVER slot AS before_reason, lag(found) OVER slot AS before_found,
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
        CASE WHEN kind = 'replaced' THEN found ELSE before_found END AS found
    FROM moves
    WHERE job IS NOT NULL
        AND (kind = 'replaced' OR (kind = 'installed' AND before_kind = 'removed' AND before_job = job))
        AND (serial IS NULL OR serial IS DISTINCT FROM old_serial)
),
priced AS (
    SELECT r.*, j.corrective, j.labour AS job_labour, j.downtime AS job_downtime, j.extra AS job_extra,
        coalesce(r.pieces, s.pieces, c.pieces, 1) AS pieces_used,
        CAST(round(coalesce(r.pieces, s.pieces, c.pieces, 1) * coalesce(p.price, c.price) * 10000, 0) AS HUGEINT) AS parts,
        CAST(round(coalesce(c.own_labour_h, 0) * l.labour_rate * 10000, 0) AS HUGEINT) AS own_labour,
        CASE
            WHEN r.reason = 'failed'
                OR (r.reason = 'worn' AND (r.found IS DISTINCT FROM 'inspection' OR j.corrective)) THEN 'failed'
            WHEN NOT j.corrective AND r.reason IN ('planned', 'worn') THEN 'planned'
            WHEN NOT j.corrective AND r.reason = 'opportunity' THEN 'exposed'
            ELSE 'along'
        END AS cause
    FROM renewals AS r
    JOIN jobs AS j USING (ledger, machine, job)
    JOIN ledgers AS l USING (ledger)
    LEFT JOIN components AS c USING (ledger, component)
    LEFT JOIN slots AS s
        ON s.ledger = r.ledger AND s.machine = r.machine AND s.component = r.component
        AND s."position" = r."position"
    LEFT JOIN parts AS p ON p.ledger = r.ledger AND p.component = r.component AND p.part = r.part
),
bearing AS (
    SELECT *,
        CASE WHEN corrective THEN cause = 'failed' ELSE cause IN ('failed', 'planned') END AS meant,
        coalesce(bool_or(meant) OVER (PARTITION BY ledger, machine, job), false) AS any_meant,
        meant OR NOT any_meant AS bears,
        CASE
            WHEN cause <> 'exposed' THEN cause
            WHEN any_meant THEN 'along'
            ELSE 'planned'
        END AS kind
    FROM priced
),
ranked AS (
    SELECT *,
        sum(bears::INTEGER) OVER (PARTITION BY ledger, machine, job) AS bearers,
        sum(bears::INTEGER) OVER job_so_far AS rank,
        CASE WHEN bears THEN 0 ELSE least(own_labour, job_labour) END AS own,
        coalesce(sum(own) OVER job_so_far, 0) AS own_so_far,
        coalesce(sum(own) OVER (PARTITION BY ledger, machine, job), 0) AS own_all
    FROM bearing
    WINDOW job_so_far AS (PARTITION BY ledger, machine, job ORDER BY component, "position", "time", sha
                          ROWS UNBOUNDED PRECEDING)
),
shared AS (
    SELECT *,
        job_labour - least(own_all, job_labour) AS labour_left,
        CASE WHEN bears
            THEN (labour_left * rank) // bearers - (labour_left * (rank - 1)) // bearers
            ELSE least(own_so_far, job_labour) - least(own_so_far - own, job_labour) END AS labour_share,
        CASE WHEN bears
            THEN (job_downtime * rank) // bearers - (job_downtime * (rank - 1)) // bearers
            ELSE 0 END AS downtime_share,
        CASE WHEN bears
            THEN (job_extra * rank) // bearers - (job_extra * (rank - 1)) // bearers
            ELSE 0 END AS extra_share
    FROM ranked
)
SELECT ledger, machine, component, "position", job, "time", reason, kind,
    pieces_used AS pieces,
    CAST(parts * 0.0001 AS DECIMAL(38, 4)) AS parts,
    CAST(labour_share * 0.0001 AS DECIMAL(38, 4)) AS labour,
    CAST(downtime_share * 0.0001 AS DECIMAL(38, 4)) AS downtime,
    CAST(extra_share * 0.0001 AS DECIMAL(38, 4)) AS extra,
    CAST((s.parts + labour_share + downtime_share + extra_share) * 0.0001 AS DECIMAL(38, 4)) AS total,
    bears, sha
FROM shared AS s
ORDER BY ledger, job, machine, component, "position", "time", sha
