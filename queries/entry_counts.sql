-- entry_counts.sql: how many entries of each kind the books held at the as-of moment.
-- Params:  $1 as_of TIMESTAMP, UTC
-- Reads:   entries, entries_live
-- Columns: ledger, kind VARCHAR; entries BIGINT (written by then); withdrawn BIGINT (of these, taken back);
--          first_time, last_time TIMESTAMP (UTC, of those that stand; NULL where none does)
-- Unique and ordered by: ledger, kind
-- Checked: tests/queries/entry_counts/ (a table a case; the books are in tests/queries/ledgers/)
SELECT e.ledger, e.kind, count(*) AS entries,
    CASE WHEN e.kind IN ('opened', 'withdrawn') THEN 0 ELSE count(*) - count(l.sha) END AS withdrawn,
    min(e."time") FILTER (l.sha IS NOT NULL OR e.kind IN ('opened', 'withdrawn')) AS first_time,
    max(e."time") FILTER (l.sha IS NOT NULL OR e.kind IN ('opened', 'withdrawn')) AS last_time
FROM entries AS e
LEFT JOIN entries_live AS l ON l.ledger = e.ledger AND l.book = e.book AND l.line = e.line
WHERE e."time" <= $1 AND coalesce(e.logged, e."time") <= $1
GROUP BY e.ledger, e.kind
ORDER BY e.ledger, e.kind
