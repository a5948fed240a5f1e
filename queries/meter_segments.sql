-- meter_segments.sql: usage against time for each meter, as straight lines, with exchanges of the meter removed.
-- Params:  none (entries_live holds to as_of)
-- Reads:   entries_live, machine_usage
-- Columns: ledger, machine, meter VARCHAR;
--          from_time, to_time TIMESTAMP (the line holds from the first up to the second; to_time NULL: for good);
--          kind VARCHAR: before | read | estimated | after;
--          base_time TIMESTAMP; base_usage DOUBLE; rate DOUBLE (usage per second):
--          usage(t) = base_usage + rate * (t - base_time)
-- Unique and ordered by: ledger, machine, meter, from_time
-- Checked: tests/queries/meter_segments/ (a table a case; the books are in tests/queries/ledgers/)
--
-- Usage starts at the value of the first reading and rises by what the meter rises between
-- two readings. A reading marked as a reset starts a new meter: the stretch that ends in it
-- is estimated at the rate of the stretch before (else of the next one read, else of the
-- register's expected usage). A reading below an earlier one of the same meter is a mistake
-- and is passed over. Beyond the readings: before the first, the rate of the first 56 days;
-- after the last, the rate of the last 56 days (of all readings where they span less). One
-- reading alone has no rate: the register's expected usage serves, and where that is not
-- stated either the meter has no lines at all.
WITH readings AS (
    SELECT ledger, machine, meter, "time", value, coalesce(reset, false) AS reset, logged, book, line
    FROM entries_live
    WHERE kind = 'reading' AND machine IS NOT NULL AND meter IS NOT NULL AND value IS NOT NULL
),
counted AS (
    SELECT *,
        sum(reset::INTEGER) OVER (
            PARTITION BY ledger, machine, meter ORDER BY "time", logged, book, line
            ROWS UNBOUNDED PRECEDING
        ) AS epoch
    FROM readings
),
rising AS (
    SELECT *
    FROM counted
    QUALIFY value >= coalesce(max(value) OVER (
        PARTITION BY ledger, machine, meter, epoch ORDER BY "time", logged, book, line
        ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
    ), value)
),
moments AS (
    SELECT ledger, machine, meter, epoch, "time", max(value) AS value
    FROM rising
    GROUP BY ALL
),
steps AS (
    SELECT *,
        date_diff('second', lag("time") OVER meters, "time") AS seconds,
        lag(epoch) OVER meters = epoch AS is_read,
        value - lag(value) OVER meters AS rise
    FROM moments
    WINDOW meters AS (PARTITION BY ledger, machine, meter ORDER BY "time", epoch)
),
rated AS (
    SELECT *, CASE WHEN is_read AND seconds > 0 THEN rise / seconds END AS own_rate
    FROM steps
),
filled AS (
    SELECT r.*,
        CASE
            WHEN r.seconds IS NULL OR r.seconds = 0 THEN 0
            WHEN r.is_read THEN r.rise
            ELSE r.seconds * coalesce(
                last_value(r.own_rate IGNORE NULLS) OVER (
                    PARTITION BY r.ledger, r.machine, r.meter ORDER BY r."time", r.epoch
                    ROWS UNBOUNDED PRECEDING),
                last_value(r.own_rate IGNORE NULLS) OVER (
                    PARTITION BY r.ledger, r.machine, r.meter ORDER BY r."time" DESC, r.epoch DESC
                    ROWS UNBOUNDED PRECEDING),
                m.per_week / 604800,
                0)
        END AS added,
        coalesce(NOT r.is_read AND r.seconds > 0, false) AS estimated,
        m.per_week / 604800 AS expected_rate
    FROM rated AS r
    LEFT JOIN machine_usage AS m USING (ledger, machine, meter)
),
summed AS (
    SELECT *,
        first_value(value) OVER meters + sum(added) OVER meters AS usage
    FROM filled
    WINDOW meters AS (PARTITION BY ledger, machine, meter ORDER BY "time", epoch
                      ROWS UNBOUNDED PRECEDING)
),
nodes AS (
    SELECT ledger, machine, meter, "time",
        max(usage) AS usage,
        bool_or(estimated) AS estimated,
        any_value(expected_rate) AS expected_rate
    FROM summed
    GROUP BY ledger, machine, meter, "time"
),
inner_lines AS (
    SELECT ledger, machine, meter,
        "time" AS from_time,
        lead("time") OVER meters AS to_time,
        CASE WHEN lead(estimated) OVER meters THEN 'estimated' ELSE 'read' END AS kind,
        "time" AS base_time,
        usage AS base_usage,
        (lead(usage) OVER meters - usage) / date_diff('second', "time", lead("time") OVER meters) AS rate
    FROM nodes
    WINDOW meters AS (PARTITION BY ledger, machine, meter ORDER BY "time")
    QUALIFY to_time IS NOT NULL
),
ends AS (
    SELECT ledger, machine, meter,
        min("time") AS first_time, max("time") AS last_time,
        arg_min(usage, "time") AS first_usage, arg_max(usage, "time") AS last_usage,
        least(max("time"), min("time") + INTERVAL 56 DAY) AS early_until,
        greatest(min("time"), max("time") - INTERVAL 56 DAY) AS late_from,
        any_value(expected_rate) AS expected_rate
    FROM nodes
    GROUP BY ledger, machine, meter
),
early AS (
    SELECT e.*,
        i.base_usage + i.rate * date_diff('second', i.base_time, e.early_until) AS early_usage
    FROM ends AS e
    ASOF LEFT JOIN inner_lines AS i
        ON i.ledger = e.ledger AND i.machine = e.machine AND i.meter = e.meter
        AND i.from_time <= e.early_until
),
both_ends AS (
    SELECT e.*,
        i.base_usage + i.rate * date_diff('second', i.base_time, e.late_from) AS late_usage
    FROM early AS e
    ASOF LEFT JOIN inner_lines AS i
        ON i.ledger = e.ledger AND i.machine = e.machine AND i.meter = e.meter
        AND i.from_time <= e.late_from
),
outer_lines AS (
    SELECT ledger, machine, meter,
        TIMESTAMP '0001-01-01 00:00:00' AS from_time, first_time AS to_time, 'before' AS kind,
        first_time AS base_time, first_usage AS base_usage,
        CASE WHEN first_time = last_time THEN expected_rate
             ELSE (early_usage - first_usage) / date_diff('second', first_time, early_until) END AS rate
    FROM both_ends
    UNION ALL
    SELECT ledger, machine, meter,
        last_time, NULL, 'after',
        last_time, last_usage,
        CASE WHEN first_time = last_time THEN expected_rate
             ELSE (last_usage - late_usage) / date_diff('second', late_from, last_time) END
    FROM both_ends
)
SELECT ledger, machine, meter, from_time, to_time, kind, base_time, base_usage, rate
FROM inner_lines
UNION ALL
SELECT ledger, machine, meter, from_time, to_time, kind, base_time, base_usage, rate
FROM outer_lines
WHERE rate IS NOT NULL
ORDER BY ledger, machine, meter, from_time
