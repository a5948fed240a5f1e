-- readings.sql: one row per measured entry that stands, with the item it was taken on and the usage of that item then.
-- Params:  $1 as_of TIMESTAMP, UTC: the usage of an item still in counts up to here
-- Reads:   entries_live, slot_stays, lives, usage_at
-- Columns: ledger, machine, component, position VARCHAR (where it was taken); time TIMESTAMP (UTC);
--          quantity, zone VARCHAR; value DOUBLE (as given); unit VARCHAR (as given); span DOUBLE (metres);
--          new_value DOUBLE (in that unit);
--          usage DOUBLE (on the item since new, in the component's usage unit; NULL: unknown);
--          extrapolated BOOLEAN (the machine's usage then lies more than a day beyond its meter readings);
--          life_sha VARCHAR (line that began the item's life; NULL: no item was in the slot); serial VARCHAR;
--          start_time TIMESTAMP (when that life began); item_machine, item_position VARCHAR (where the item is, or
--          last was); still_in BOOLEAN (the item is in a slot at as_of);
--          usage_now DOUBLE (on the item at as_of, or when it last left; NULL: unknown); job, sha VARCHAR
-- Unique and ordered by: machine, component, position, time, sha
-- Checked: tests/queries/readings/ (a table a case; the books are in tests/queries/ledgers/)
--
-- A reading is of the item that was in the slot when it was taken: entries follow one another by time,
-- then logged, then book and line, so what is measured before a renewal in the same job is of the old item.
-- An item that left whole and came back with the same serial is one: its usages add up (see lives).
WITH taken_and_moves AS (
    SELECT *,
        last_value(CASE kind WHEN 'removed' THEN '' WHEN 'measured' THEN NULL ELSE sha END IGNORE NULLS) OVER (
            PARTITION BY ledger, machine, component, "position" ORDER BY "time", logged, book, line
            ROWS UNBOUNDED PRECEDING) AS stay_sha
    FROM entries_live
    WHERE kind IN ('installed', 'replaced', 'removed', 'measured')
),
begins AS (
    SELECT ledger, component, coalesce(serial, start_sha) AS item, start_time, start_sha
    FROM lives
),
stays AS (
    SELECT s.*, b.start_sha AS life_sha, b.start_time AS life_time
    FROM (SELECT *, coalesce(serial, start_sha) AS item FROM slot_stays) AS s
    ASOF JOIN begins AS b
        ON b.ledger = s.ledger AND b.component = s.component AND b.item = s.item
        AND b.start_time <= s.start_time
),
placed AS (
    -- A sum passes over what it does not know; a count of it tells.
    SELECT *,
        first_value(age) OVER life AS entry_age,
        first_value(age_unknown) OVER life OR count(*) FILTER (usage IS NULL) OVER before > 0 AS unknown_before,
        coalesce(sum(usage) OVER before, 0) AS run_before
    FROM stays
    WINDOW life AS (PARTITION BY ledger, life_sha ORDER BY start_time, start_sha),
        before AS (PARTITION BY ledger, life_sha ORDER BY start_time, start_sha
                   ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
),
items AS (
    SELECT ledger, life_sha,
        arg_max({'machine': machine, 'position': "position", 'still_in': end_sha IS NULL,
                 'usage': CASE WHEN NOT unknown_before THEN entry_age + run_before + usage END},
                {'time': start_time, 'sha': start_sha}) AS last
    FROM placed
    GROUP BY ledger, life_sha
)
SELECT m.ledger, m.machine, m.component, m."position", m."time",
    m.quantity, m.zone, m.value, m.unit, m.span, m.new_value,
    CASE WHEN NOT p.unknown_before THEN p.entry_age + p.run_before + u.usage - p.start_usage END AS usage,
    coalesce(u.extrapolated, false) AS extrapolated,
    p.life_sha, p.serial, p.life_time AS start_time,
    i.last.machine AS item_machine, i.last.position AS item_position,
    coalesce(i.last.still_in, false) AS still_in,
    i.last.usage AS usage_now,
    m.job, m.sha
FROM taken_and_moves AS m
LEFT JOIN placed AS p ON p.ledger = m.ledger AND p.start_sha = m.stay_sha
LEFT JOIN items AS i ON i.ledger = p.ledger AND i.life_sha = p.life_sha
LEFT JOIN usage_at AS u ON u.ledger = m.ledger AND u.sha = m.sha
WHERE m.kind = 'measured'
ORDER BY m.machine, m.component, m."position", m."time", m.sha
