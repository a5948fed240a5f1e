-- usage_now.sql: where each meter stands: readings, usage at the as-of moment, recent rate.
-- Params:  $1 as_of TIMESTAMP, UTC
-- Reads:   entries_live, meter_segments
-- Columns: ledger, machine, meter VARCHAR; readings, resets BIGINT;
--          first_time, last_time TIMESTAMP (of the readings, UTC); last_value DOUBLE (as the meter shows it);
--          usage DOUBLE (at as_of, exchanges of the meter removed; NULL: no usable readings);
--          per_week DOUBLE (rate after the last reading); longest_gap_days DOUBLE (between two readings);
--          extrapolated BOOLEAN (as_of lies more than a day beyond the last reading)
-- Unique and ordered by: ledger, machine, meter
-- Checked: tests/queries/usage_now/ (a table a case; the books are in tests/queries/ledgers/)
WITH readings AS (
    SELECT ledger, machine, meter, "time", value, coalesce(reset, false) AS reset, logged, book, line,
        date_diff('second', lag("time") OVER (PARTITION BY ledger, machine, meter ORDER BY "time"), "time") AS gap
    FROM entries_live
    WHERE kind = 'reading' AND machine IS NOT NULL AND meter IS NOT NULL AND value IS NOT NULL
),
told AS (
    SELECT ledger, machine, meter,
        count(*) AS readings, count(*) FILTER (reset) AS resets,
        min("time") AS first_time, max("time") AS last_time,
        last(value ORDER BY "time", logged, book, line) AS last_value,
        coalesce(max(gap), 0) / 86400 AS longest_gap_days,
        $1::TIMESTAMP AS as_of
    FROM readings
    GROUP BY ledger, machine, meter
)
SELECT t.ledger, t.machine, t.meter, t.readings, t.resets, t.first_time, t.last_time, t.last_value,
    s.base_usage + s.rate * date_diff('second', s.base_time, t.as_of) AS usage,
    a.rate * 604800 AS per_week,
    t.longest_gap_days,
    coalesce(s.kind IN ('before', 'after') AND abs(epoch(t.as_of) - epoch(s.base_time)) > 86400, false) AS extrapolated
FROM told AS t
LEFT JOIN meter_segments AS a
    ON a.ledger = t.ledger AND a.machine = t.machine AND a.meter = t.meter AND a.kind = 'after'
ASOF LEFT JOIN meter_segments AS s
    ON s.ledger = t.ledger AND s.machine = t.machine AND s.meter = t.meter
    AND s.from_time <= t.as_of
ORDER BY t.ledger, t.machine, t.meter
