-- lives.sql: one row per life of an item, ended or still running.
-- Params:  $1 as_of TIMESTAMP, UTC: a life still running is cut here
-- Reads:   slot_stays, entries_live, usage_at, components, meter_segments
-- Columns: ledger, machine, component, position VARCHAR (where it was last);
--          part, batch, serial VARCHAR; start_time, end_time TIMESTAMP (UTC; end NULL: still running);
--          entry DOUBLE (usage on it when it came under watch; NULL: unknown);
--          lo, hi DOUBLE (usage since new, rounded to 0.1; hi NULL: suspension; both NULL: unknown);
--          outcome VARCHAR: failure | interval | suspension; mode VARCHAR;
--          reason VARCHAR (why it ended; NULL: still running, or ended without a word);
--          start_sha, end_sha VARCHAR (lines that began and ended it); flags VARCHAR (words between spaces)
-- Unique and ordered by: machine, component, position, start_time, start_sha
-- Checked: tests/queries/lives/ (a table a case; the books are in tests/queries/ledgers/)
--
-- A stay in a slot ends a life by failure where the item left as failed or worn, or where an
-- inspection found it so and no later inspection found it sound:
--   found running              failure at the usage when it left;
--   found at an inspection     interval: from the last sound inspection of this life (else the entry
--                              age) to the first inspection that found it (else to when it left).
-- Everything else is a suspension at the usage when it left, or at as_of.
-- An item that left whole and came back with the same serial, in any slot of the ledger, goes on
-- with the same life: usages add up, and its entry age is the first one.
WITH looks_and_moves AS (
    SELECT ledger, sha, kind, "time", finding, mode,
        last_value(CASE kind WHEN 'removed' THEN '' WHEN 'inspected' THEN NULL ELSE sha END IGNORE NULLS) OVER (
            PARTITION BY ledger, machine, component, "position" ORDER BY "time", logged, book, line
            ROWS UNBOUNDED PRECEDING) AS start_sha,
        row_number() OVER (
            PARTITION BY ledger, machine, component, "position" ORDER BY "time", logged, book, line) AS turn
    FROM entries_live
    WHERE kind IN ('installed', 'replaced', 'removed', 'inspected')
),
looks AS (
    SELECT s.start_sha, i.turn, i.sha, i."time", i.finding = 'sound' AS sound, i.finding, i.mode,
        s.start_usage, u.usage, u.extrapolated
    FROM looks_and_moves AS i
    JOIN slot_stays AS s ON s.ledger = i.ledger AND s.start_sha = i.start_sha
    LEFT JOIN usage_at AS u ON u.ledger = i.ledger AND u.sha = i.sha
    WHERE i.kind = 'inspected' AND i.finding IS NOT NULL
),
last_sound AS (
    SELECT start_sha, max(turn) AS turn,
        arg_max(usage - start_usage, turn) AS ran, arg_max(extrapolated, turn) AS extrapolated
    FROM looks
    WHERE sound
    GROUP BY start_sha
),
first_bad AS (
    SELECT l.start_sha,
        arg_min({'time': l."time", 'sha': l.sha, 'finding': l.finding, 'mode': l.mode,
                 'ran': l.usage - l.start_usage, 'extrapolated': l.extrapolated}, l.turn) AS look
    FROM looks AS l
    LEFT JOIN last_sound AS s USING (start_sha)
    WHERE NOT l.sound AND l.turn > coalesce(s.turn, 0)
    GROUP BY l.start_sha
),
judged AS (
    SELECT s.*,
        coalesce(s.reason IN ('failed', 'worn') AND s.found IS DISTINCT FROM 'inspection', false) AS running,
        coalesce(s.reason IN ('failed', 'worn'), false) OR b.start_sha IS NOT NULL AS failed,
        b.look.sha AS bad_sha, b.look."time" AS bad_time, b.look.finding AS bad_finding, b.look.mode AS bad_mode,
        b.look.ran AS bad_ran, b.look.extrapolated AS bad_extrapolated,
        o.ran AS sound_ran, o.extrapolated AS sound_extrapolated
    FROM slot_stays AS s
    LEFT JOIN first_bad AS b USING (start_sha)
    LEFT JOIN last_sound AS o USING (start_sha)
),
begun AS (
    SELECT *,
        serial IS NULL
            OR coalesce(lag(failed) OVER item, true)
            OR coalesce(lag(end_time) OVER item > start_time, true) AS fresh
    FROM judged
    WINDOW item AS (PARTITION BY ledger, component, coalesce(serial, start_sha) ORDER BY start_time, start_sha)
),
numbered AS (
    SELECT *,
        sum(fresh::INTEGER) OVER (
            PARTITION BY ledger, component, coalesce(serial, start_sha) ORDER BY start_time, start_sha
            ROWS UNBOUNDED PRECEDING) AS life_number
    FROM begun
),
placed AS (
    SELECT *,
        first_value(start_sha) OVER life AS life_sha,
        first_value(age) OVER life AS entry_age,
        first_value(age_unknown) OVER life AS entry_unknown,
        entry_age + coalesce(sum(usage) OVER (life ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0) AS run_before,
        row_number() OVER life AS stay_number,
        count(*) OVER (PARTITION BY ledger, component, coalesce(serial, start_sha), life_number) AS stays
    FROM numbered
    WINDOW life AS (PARTITION BY ledger, component, coalesce(serial, start_sha), life_number
                    ORDER BY start_time, start_sha)
),
resets AS (
    SELECT DISTINCT p.start_sha
    FROM placed AS p
    JOIN components AS c ON c.ledger = p.ledger AND c.component = p.component
    JOIN meter_segments AS m
        ON m.ledger = p.ledger AND m.machine = p.machine AND m.meter = c.meter
        AND m.kind = 'estimated' AND m.to_time > p.start_time
        AND m.from_time < coalesce(CASE WHEN NOT p.running THEN p.bad_time END, p.end_time, $1)
),
whole AS (
    SELECT life_sha,
        max(run_before + sound_ran) AS last_sound,
        bool_or(start_extrapolated OR (end_extrapolated AND stay_number < stays)) AS extrapolated,
        coalesce(arg_max(sound_extrapolated, stay_number) FILTER (sound_ran IS NOT NULL), false) AS sound_extrapolated,
        bool_or(r.start_sha IS NOT NULL) AS reset,
        bool_or(usage IS NULL) AS no_usage,
        arg_min({'part': part, 'batch': batch, 'serial': serial, 'start_time': start_time}, stay_number) AS item
    FROM placed
    LEFT JOIN resets AS r USING (start_sha)
    GROUP BY life_sha
),
ended AS (
    SELECT p.ledger, p.machine, p.component, p."position", p.life_sha AS start_sha,
        w.item, p.stays, p.entry_unknown, w.no_usage, w.reset,
        CASE WHEN p.running THEN 'failure' WHEN p.failed THEN 'interval' ELSE 'suspension' END AS how,
        NOT p.running AND p.bad_sha IS NOT NULL AS by_inspection,
        CASE WHEN by_inspection THEN p.bad_time ELSE p.end_time END AS end_time,
        CASE WHEN by_inspection THEN p.bad_sha ELSE p.end_sha END AS end_sha,
        CASE WHEN by_inspection THEN p.bad_finding ELSE p.reason END AS reason,
        CASE WHEN by_inspection THEN coalesce(p.bad_mode, p.mode) ELSE p.mode END AS mode,
        round(p.entry_age, 1) AS entry,
        round(coalesce(w.last_sound, p.entry_age), 1) AS sound,
        round(p.run_before + CASE WHEN by_inspection THEN p.bad_ran ELSE p.usage END, 1) AS run,
        w.extrapolated
            OR (how = 'interval' AND w.sound_extrapolated)
            OR CASE WHEN by_inspection THEN coalesce(p.bad_extrapolated, false)
                    ELSE p.end_extrapolated END AS extrapolated
    FROM placed AS p
    JOIN whole AS w USING (life_sha)
    WHERE p.stay_number = p.stays
)
SELECT ledger, machine, component, "position",
    item.part AS part, item.batch AS batch, item.serial AS serial,
    item.start_time AS start_time, end_time,
    CASE WHEN entry_unknown THEN NULL ELSE e.entry END AS entry,
    CASE WHEN entry_unknown OR no_usage THEN NULL WHEN how = 'interval' THEN least(sound, run) ELSE run END AS lo,
    CASE WHEN entry_unknown OR no_usage OR how = 'suspension' THEN NULL ELSE run END AS hi,
    CASE WHEN how = 'interval' AND lo >= hi THEN 'failure' ELSE how END AS outcome,
    mode, reason, start_sha, end_sha,
    concat_ws(' ',
        CASE WHEN e.extrapolated THEN 'extrapolated' END,
        CASE WHEN reset THEN 'meter-reset' END,
        CASE WHEN stays > 1 THEN 'refitted' END,
        CASE WHEN entry_unknown THEN 'unknown-age' END,
        CASE WHEN NOT entry_unknown AND NOT no_usage AND run <= e.entry THEN 'no-length' END,
        CASE WHEN no_usage THEN 'no-usage' END) AS flags
FROM ended AS e
ORDER BY machine, component, "position", start_time, start_sha
