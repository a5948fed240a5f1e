//! The tables and named queries of the store, with their documents.
//!
//! In: the files in `queries/`, compiled in. Out: [`Query`]s in the order they build on
//! one another, [`Table`]s with their columns. Never: a connection.

/// A file of `queries/`: its name and its text. Its result is a table of that name.
#[derive(Debug, Clone, Copy)]
pub struct Query {
    pub name: &'static str,
    pub sql: &'static str,
}

macro_rules! queries {
    ($($name:literal),+ $(,)?) => {
        &[$(Query { name: $name, sql: include_str!(concat!("../../queries/", $name, ".sql")) }),+]
    };
}

/// Every query; each reads only tables and queries before it.
pub const QUERIES: &[Query] = queries![
    "entries_live",
    "entry_counts",
    "meter_segments",
    "usage_at",
    "usage_now",
    "slot_stays",
    "lives",
    "renewal_costs",
    "jobs",
    "costs",
    "readings",
];

/// What the head of a query's file tells.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Header {
    /// What a row is, without the file's name.
    pub what: String,
    pub params: String,
    pub reads: Vec<String>,
    pub columns: String,
    /// The columns that are unique together, in the order of the rows.
    pub order: Vec<String>,
    pub checked: String,
}

impl Query {
    /// The query with this name.
    pub fn named(name: &str) -> Option<&'static Query> {
        QUERIES.iter().find(|query| query.name == name)
    }

    /// Reads the comment at the head of the file; `None` if a part of it is missing.
    pub fn header(&self) -> Option<Header> {
        let mut parts: Vec<(String, String)> = Vec::new();
        let lines = self
            .sql
            .lines()
            .map_while(|line| line.strip_prefix("--"))
            .take_while(|line| !line.trim().is_empty());
        for line in lines {
            let text = line.strip_prefix(' ').unwrap_or(line);
            match text.split_once(':') {
                Some((key, rest)) if !text.starts_with(' ') => {
                    parts.push((key.to_owned(), rest.trim().to_owned()));
                }
                _ => {
                    let (_, last) = parts.last_mut()?;
                    last.push(' ');
                    last.push_str(text.trim());
                }
            }
        }
        let part = |key: &str| {
            parts
                .iter()
                .find(|(known, _)| known == key)
                .map(|(_, text)| text.clone())
                .filter(|text| !text.is_empty())
        };
        let list = |text: String| text.split(',').map(|item| item.trim().to_owned()).collect();
        Some(Header {
            what: part(&format!("{}.sql", self.name))?,
            params: part("Params")?,
            reads: list(part("Reads")?),
            columns: part("Columns")?,
            order: list(part("Unique and ordered by")?),
            checked: part("Checked")?,
        })
    }

    /// Whether the statement takes the as-of moment.
    pub(crate) fn takes_as_of(&self) -> bool {
        self.statement_lines().any(|line| line.contains("$1"))
    }

    fn statement_lines(&self) -> impl Iterator<Item = &'static str> {
        self.sql
            .lines()
            .filter(|line| !line.trim_start().starts_with("--"))
    }
}

/// A table loaded from books or registers.
#[derive(Debug, Clone, Copy)]
pub struct Table {
    pub name: &'static str,
    /// What a row is.
    pub what: &'static str,
    pub columns: &'static [(&'static str, &'static str)],
    /// The columns that are unique together.
    pub key: &'static str,
}

/// Tables filled from the registers.
pub(crate) const REGISTER_TABLES: &[Table] = &[
    Table {
        name: "ledgers",
        what: "one row per ledger folder; decimals of the currency's smallest unit",
        columns: &[
            ("ledger", "VARCHAR"),
            ("plant", "VARCHAR"),
            ("currency", "VARCHAR"),
            ("decimals", "BIGINT"),
            ("time_zone", "VARCHAR"),
            ("labour_rate", "DECIMAL(18,4)"),
            ("planning_grid", "DOUBLE"),
            ("crews", "BIGINT"),
            ("service_level", "DOUBLE"),
        ],
        key: "ledger",
    },
    Table {
        name: "meters",
        what: "one row per kind of usage, which is read on a meter of the same name",
        columns: &[
            ("ledger", "VARCHAR"),
            ("meter", "VARCHAR"),
            ("name", "VARCHAR"),
            ("unit", "VARCHAR"),
        ],
        key: "ledger, meter",
    },
    Table {
        name: "components",
        what: "one row per component; price is per piece, hours are hours, usages in the meter's unit",
        columns: &[
            ("ledger", "VARCHAR"),
            ("component", "VARCHAR"),
            ("name", "VARCHAR"),
            ("meter", "VARCHAR"),
            ("price", "DECIMAL(18,4)"),
            ("pieces", "BIGINT"),
            ("own_labour_h", "DECIMAL(18,4)"),
            ("planned_stop_h", "DECIMAL(18,4)"),
            ("failed_stop_h", "DECIMAL(18,4)"),
            ("failed_extra_cost", "DECIMAL(18,4)"),
            ("never_refit", "BOOLEAN"),
            ("ceiling", "DOUBLE"),
            ("present_interval", "DOUBLE"),
        ],
        key: "ledger, component",
    },
    Table {
        name: "modes",
        what: "one row per failure mode of a component",
        columns: &[
            ("ledger", "VARCHAR"),
            ("component", "VARCHAR"),
            ("mode", "VARCHAR"),
        ],
        key: "ledger, component, mode",
    },
    Table {
        name: "accesses",
        what: "one row per strip-down that exposes several slots",
        columns: &[
            ("ledger", "VARCHAR"),
            ("access", "VARCHAR"),
            ("name", "VARCHAR"),
            ("labour_h", "DECIMAL(18,4)"),
        ],
        key: "ledger, access",
    },
    Table {
        name: "machines",
        what: "one row per machine; downtime_cost is per production hour lost",
        columns: &[
            ("ledger", "VARCHAR"),
            ("machine", "VARCHAR"),
            ("tag", "VARCHAR"),
            ("name", "VARCHAR"),
            ("layout", "VARCHAR"),
            ("in_service", "DATE"),
            ("downtime_cost", "DECIMAL(18,4)"),
        ],
        key: "ledger, machine",
    },
    Table {
        name: "machine_usage",
        what: "one row per machine and meter with an expected usage per week",
        columns: &[
            ("ledger", "VARCHAR"),
            ("machine", "VARCHAR"),
            ("meter", "VARCHAR"),
            ("per_week", "DOUBLE"),
        ],
        key: "ledger, machine, meter",
    },
    Table {
        name: "slots",
        what: "one row per slot of a machine; pieces that one item there is made of",
        columns: &[
            ("ledger", "VARCHAR"),
            ("machine", "VARCHAR"),
            ("component", "VARCHAR"),
            ("position", "VARCHAR"),
            ("access", "VARCHAR"),
            ("pieces", "BIGINT"),
        ],
        key: "ledger, machine, component, position",
    },
    Table {
        name: "parts",
        what: "one row per part number; price NULL: the component's price holds; stock in pieces, NULL: not stated",
        columns: &[
            ("ledger", "VARCHAR"),
            ("part", "VARCHAR"),
            ("component", "VARCHAR"),
            ("price", "DECIMAL(18,4)"),
            ("supplier", "VARCHAR"),
            ("lead_time_days", "BIGINT"),
            ("stock", "BIGINT"),
        ],
        key: "ledger, part",
    },
];

/// The books, one row each.
pub(crate) const BOOKS_TABLE: Table = Table {
    name: "books",
    what: "one row per book file; head is the SHA-256 of its last line",
    columns: &[
        ("ledger", "VARCHAR"),
        ("book", "VARCHAR"),
        ("lines", "BIGINT"),
        ("head", "VARCHAR"),
    ],
    key: "ledger, book",
};

/// The entries, as a view over the lines.
pub(crate) const ENTRIES_TABLE: Table = Table {
    name: "entries",
    what: "one row per line of a book, withdrawn or not; times are UTC; sha is the line's own",
    columns: &[
        ("ledger", "VARCHAR"),
        ("book", "VARCHAR"),
        ("line", "BIGINT"),
        ("sha", "VARCHAR"),
        ("kind", "VARCHAR"),
        ("time", "TIMESTAMP"),
        ("logged", "TIMESTAMP"),
        ("who", "VARCHAR"),
        ("machine", "VARCHAR"),
        ("meter", "VARCHAR"),
        ("value", "DOUBLE"),
        ("reset", "BOOLEAN"),
        ("component", "VARCHAR"),
        ("position", "VARCHAR"),
        ("part", "VARCHAR"),
        ("pieces", "BIGINT"),
        ("batch", "VARCHAR"),
        ("serial", "VARCHAR"),
        ("age", "DOUBLE"),
        ("age_unknown", "BOOLEAN"),
        ("reason", "VARCHAR"),
        ("mode", "VARCHAR"),
        ("found", "VARCHAR"),
        ("finding", "VARCHAR"),
        ("quantity", "VARCHAR"),
        ("unit", "VARCHAR"),
        ("zone", "VARCHAR"),
        ("span", "DOUBLE"),
        ("new_value", "DOUBLE"),
        ("job", "VARCHAR"),
        ("start", "TIMESTAMP"),
        ("stop", "TIMESTAMP"),
        ("job_kind", "VARCHAR"),
        ("labour_h", "DECIMAL(18,4)"),
        ("downtime_h", "DECIMAL(18,4)"),
        ("cost", "DECIMAL(18,4)"),
        ("what", "VARCHAR"),
        ("entry_sha", "VARCHAR"),
        ("why", "VARCHAR"),
        ("note", "VARCHAR"),
        ("source", "VARCHAR"),
    ],
    key: "ledger, book, line",
};

/// Every table that is not the result of a query.
pub fn tables() -> impl Iterator<Item = &'static Table> {
    [&ENTRIES_TABLE, &BOOKS_TABLE]
        .into_iter()
        .chain(REGISTER_TABLES)
}

/// The keys of a line in a book, with the type DuckDB reads them as. Keys it does not
/// know are passed over by DuckDB's reader and told by `check`.
pub(crate) const LINE_KEYS: &[(&str, &str)] = &[
    ("prev", "VARCHAR"),
    ("entry", "VARCHAR"),
    ("time", "TIMESTAMP"),
    ("logged", "TIMESTAMP"),
    ("who", "VARCHAR"),
    ("machine", "VARCHAR"),
    ("meter", "VARCHAR"),
    ("value", "DOUBLE"),
    ("reset", "BOOLEAN"),
    ("component", "VARCHAR"),
    ("position", "VARCHAR"),
    ("part", "VARCHAR"),
    ("pieces", "BIGINT"),
    ("batch", "VARCHAR"),
    ("serial", "VARCHAR"),
    ("age", "DOUBLE"),
    ("reason", "VARCHAR"),
    ("mode", "VARCHAR"),
    ("found", "VARCHAR"),
    ("finding", "VARCHAR"),
    ("quantity", "VARCHAR"),
    ("unit", "VARCHAR"),
    ("zone", "VARCHAR"),
    ("span", "DOUBLE"),
    ("new_value", "DOUBLE"),
    ("job", "VARCHAR"),
    ("start", "TIMESTAMP"),
    ("stop", "TIMESTAMP"),
    ("kind", "VARCHAR"),
    ("labour_h", "DECIMAL(18,4)"),
    ("downtime_h", "DECIMAL(18,4)"),
    ("cost", "DECIMAL(18,4)"),
    ("what", "VARCHAR"),
    ("entry_sha", "VARCHAR"),
    ("why", "VARCHAR"),
    ("note", "VARCHAR"),
    ("source", "VARCHAR"),
];
