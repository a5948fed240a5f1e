-- jobs.sql: one row per job: its hours, and what they and its extra cost come to.
-- Params:  none (entries_live holds to as_of)
-- Reads:   entries_live, ledgers, machines
-- Columns: ledger, machine, job VARCHAR; kind VARCHAR: corrective | preventive;
--          time TIMESTAMP (UTC; its start, where stated, else the time of its line);
--          start, stop TIMESTAMP (UTC; NULL: not stated);
--          labour_h, downtime_h DECIMAL(38,4) (hours; NULL: not stated);
--          labour, downtime, extra DECIMAL(38,4) (money of the ledger in whole smallest units;
--          downtime NULL where hours are stated for a machine that the register does not know);
--          sha VARCHAR (line of the job)
-- Unique and ordered by: ledger, job, machine
-- Checked: tests/queries/jobs/ (a table a case; the books are in tests/queries/ledgers/)
--
-- Lines that tell of the same job on the same machine are one job; it is corrective if one of
-- them says so. Labour is hours at the plant's labour rate, downtime hours at the machine's cost
-- of a production hour; each is rounded to the currency's smallest unit, half away from zero.
WITH told AS (
    SELECT e.ledger, e.machine, e.job,
        CASE WHEN bool_or(e.job_kind = 'corrective') THEN 'corrective' ELSE 'preventive' END AS kind,
        coalesce(min(e.start), min(e."time")) AS "time", min(e.start) AS start, max(e.stop) AS stop,
        sum(e.labour_h) AS labour_h, sum(e.downtime_h) AS downtime_h,
        -- In ten-thousandths first: that is what renewal_costs shares out.
        round(coalesce(sum(e.labour_h), 0) * any_value(l.labour_rate), 4) AS labour,
        CASE WHEN coalesce(sum(e.downtime_h), 0) = 0 THEN 0
             ELSE round(sum(e.downtime_h) * any_value(m.downtime_cost), 4) END AS downtime,
        coalesce(sum(e.cost), 0) AS extra,
        any_value(CAST(power(10, l.decimals) AS BIGINT)) AS per_unit,
        min(e.sha) AS sha
    FROM entries_live AS e
    JOIN ledgers AS l USING (ledger)
    LEFT JOIN machines AS m ON m.ledger = e.ledger AND m.machine = e.machine
    WHERE e.kind = 'job' AND e.job IS NOT NULL
    GROUP BY e.ledger, e.machine, e.job
)
SELECT ledger, machine, job, kind, "time", start, stop,
    CAST(labour_h AS DECIMAL(38, 4)) AS labour_h,
    CAST(downtime_h AS DECIMAL(38, 4)) AS downtime_h,
    CAST(CAST(round(labour * per_unit, 0) AS HUGEINT) * (10000 // per_unit) * 0.0001 AS DECIMAL(38, 4)) AS labour,
    CAST(CAST(round(downtime * per_unit, 0) AS HUGEINT) * (10000 // per_unit) * 0.0001 AS DECIMAL(38, 4)) AS downtime,
    CAST(CAST(round(extra * per_unit, 0) AS HUGEINT) * (10000 // per_unit) * 0.0001 AS DECIMAL(38, 4)) AS extra,
    sha
FROM told
ORDER BY ledger, job, machine
