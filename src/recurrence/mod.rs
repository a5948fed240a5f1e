//! Recurrence: events of repairable units over their usage.
