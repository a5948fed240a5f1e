//! The repairable view as JSON, CSV and a table. The JSON keys are a contract.
