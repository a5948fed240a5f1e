-- usage_at.sql: the usage of the machine at every entry about a component, on the meter that ages that component.
-- Params:  none (entries_live holds to as_of)
-- Reads:   entries_live, components, meter_segments
-- Columns: ledger, sha, machine, meter VARCHAR; time TIMESTAMP (UTC);
--          usage DOUBLE (in the meter's unit; NULL: no usable readings);
--          extrapolated BOOLEAN (lies more than a day beyond the readings)
-- Unique and ordered by: ledger, sha
-- Checked: tests/queries/usage_at/ (a table a case; the books are in tests/queries/ledgers/)
SELECT e.ledger, e.sha, e.machine, c.meter, e."time",
    s.base_usage + s.rate * date_diff('second', s.base_time, e."time") AS usage,
    coalesce(s.kind IN ('before', 'after') AND abs(epoch(e."time") - epoch(s.base_time)) > 86400, false) AS extrapolated
FROM entries_live AS e
JOIN components AS c ON c.ledger = e.ledger AND c.component = e.component
ASOF LEFT JOIN meter_segments AS s
    ON s.ledger = e.ledger AND s.machine = e.machine AND s.meter = c.meter
    AND s.from_time <= e."time"
ORDER BY e.ledger, e.sha
