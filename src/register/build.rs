//! From a parsed text to a register: keys and domains first, then references.

use std::collections::hash_map::Entry;
use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use toml::de::DeTable;

use super::fault::{Fault, FaultKind, Walk};
use super::looks::looks;
use super::parts::{
    duplicate, limit_rule, listed, once_each, shape_prior, sourced, texts, unit, value_or, values,
};
use super::plant::plant;
use super::types::{
    Access, AssumedShape, Ceiling, Component, Layout, LayoutSlots, Machine, Measurement, Part,
    Register, UsageKind,
};
use crate::quantity::nearest;
use crate::quantity::walk::{At, Domain, Table, walk};
use crate::wear::LimitRule;

/// Builds what can be built, and lists every fault.
pub(super) fn build(text: &str) -> (Register, Vec<Fault>) {
    walk(text, |walk, document| {
        let builder = Builder {
            walk,
            seen: HashMap::new(),
            references: Vec::new(),
        };
        builder.register(document)
    })
}

struct Builder<'w, 't> {
    walk: &'w mut Walk<'t>,
    /// The line each id was first stated on, by kind.
    seen: HashMap<(&'static str, String), usize>,
    /// Texts that must be an id of a kind.
    references: Vec<(&'static str, At<String>)>,
}

impl Builder<'_, '_> {
    fn register(mut self, document: &DeTable<'_>) -> Register {
        let known = &[
            "plant",
            "report",
            "usage",
            "component",
            "access",
            "layout",
            "machine",
            "measurement",
            "part",
        ];
        let top = Table::open(self.walk, document, 0..0, "the register", known);
        for (key, table) in [
            ("plant", "[plant]"),
            ("usage", "at least one [[usage]]"),
            ("component", "at least one [[component]]"),
            ("layout", "at least one [[layout]]"),
            ("machine", "at least one [[machine]]"),
        ] {
            if top.raw(key).is_none() {
                self.walk.fault(0..0, FaultKind::NoTable { table });
            }
        }
        let register = Register {
            plant: plant(self.walk, &top),
            looks: looks(self.walk, &top),
            usages: self.usages(&top),
            components: self.components(&top),
            accesses: self.accesses(&top),
            layouts: self.layouts(&top),
            machines: self.machines(&top),
            measurements: self.measurements(&top),
            parts: self.parts(&top),
        };
        self.resolve();
        register
    }

    /// Notes an id; a second one of its kind is a fault.
    fn state(&mut self, what: &'static str, id: &At<String>) {
        let line = self.walk.line(id.span.start);
        match self.seen.entry((what, id.value.clone())) {
            Entry::Occupied(first) => duplicate(self.walk, what, id, *first.get()),
            Entry::Vacant(place) => {
                place.insert(line);
            }
        }
    }

    fn refer(&mut self, what: &'static str, id: &At<String>) {
        self.references.push((what, id.clone()));
    }

    fn resolve(&mut self) {
        for (what, id) in std::mem::take(&mut self.references) {
            if self.seen.contains_key(&(what, id.value.clone())) {
                continue;
            }
            let mut known: Vec<&str> = self
                .seen
                .keys()
                .filter(|(kind, _)| *kind == what)
                .map(|(_, name)| name.as_str())
                .collect();
            known.sort_unstable();
            let nearest = nearest(&id.value, known).map(str::to_owned);
            let value = id.value;
            self.walk.fault(
                id.span,
                FaultKind::UnknownReference {
                    what,
                    value,
                    nearest,
                },
            );
        }
    }

    fn usages(&mut self, top: &Table<'_, '_>) -> Vec<UsageKind> {
        let known = &["id", "name", "unit"];
        let mut all = Vec::new();
        for table in top.tables(self.walk, "usage", "[[usage]]", known) {
            let id = table.text(self.walk, "id");
            let name = table.text(self.walk, "name");
            let unit = table.text(self.walk, "unit");
            let Some(id) = id else { continue };
            self.state("usage", &id);
            all.push(UsageKind {
                name: value_or(name, &id.value),
                unit: value_or(unit, ""),
                id: id.value,
            });
        }
        all
    }

    fn components(&mut self, top: &Table<'_, '_>) -> Vec<Component> {
        let known = &[
            "id",
            "name",
            "usage",
            "modes",
            "price",
            "pieces",
            "own_labour_h",
            "planned_stop_h",
            "failed_stop_h",
            "failed_extra_cost",
            "never_refit",
            "assumed_shape",
            "shape_prior",
            "ceiling",
            "present_interval",
            "checks",
        ];
        let tables = top.tables(self.walk, "component", "[[component]]", known);
        tables
            .iter()
            .filter_map(|table| self.component(table))
            .collect()
    }

    fn component(&mut self, table: &Table<'_, '_>) -> Option<Component> {
        let walk = &mut *self.walk;
        let id = table.text(walk, "id");
        let name = table.text(walk, "name");
        let usage = table.text(walk, "usage");
        let modes = table.texts(walk, "modes");
        once_each(walk, "mode", &modes);
        let price = table.money(walk, "price").unwrap_or_default();
        let pieces = table.whole_if(walk, "pieces", 1).unwrap_or(1);
        let hours = |walk: &mut Walk<'_>, key| {
            table
                .number_if(walk, key, Domain::NotNegative)
                .map(|at| at.value)
        };
        let own_labour_h = hours(walk, "own_labour_h").unwrap_or(0.0);
        let planned_stop_h = hours(walk, "planned_stop_h").unwrap_or(0.0);
        let failed_stop_h = hours(walk, "failed_stop_h").unwrap_or(planned_stop_h);
        let failed_extra_cost = table
            .money_if(walk, "failed_extra_cost")
            .unwrap_or_default();
        let never_refit = table.flag_if(walk, "never_refit").unwrap_or(false);
        let assumed_shape = sourced(walk, table, "assumed_shape", "shape")
            .map(|(shape, source)| AssumedShape { shape, source });
        let shape_prior = shape_prior(walk, table);
        let ceiling = sourced(walk, table, "ceiling", "value")
            .map(|(value, source)| Ceiling { value, source });
        let present_interval = table
            .number_if(walk, "present_interval", Domain::Positive)
            .map(|at| at.value);
        let checks = listed(walk, table, "checks", "check");
        if let Some(usage) = &usage {
            self.refer("usage", usage);
        }
        let id = id?;
        self.state("component", &id);
        Some(Component {
            name: value_or(name, &id.value),
            id: id.value,
            usage: value_or(usage, ""),
            modes: values(modes),
            price,
            pieces,
            own_labour_h,
            planned_stop_h,
            failed_stop_h,
            failed_extra_cost,
            never_refit,
            assumed_shape,
            shape_prior,
            ceiling,
            present_interval,
            checks,
        })
    }

    fn accesses(&mut self, top: &Table<'_, '_>) -> Vec<Access> {
        let known = &["id", "name", "labour_h", "always_renew", "steps", "tools"];
        let mut all = Vec::new();
        for table in top.tables(self.walk, "access", "[[access]]", known) {
            let id = table.text(self.walk, "id");
            let name = table.text(self.walk, "name");
            let labour = table.number(self.walk, "labour_h", Domain::NotNegative);
            let renew = table
                .texts_if(self.walk, "always_renew")
                .unwrap_or_default();
            for component in &renew {
                self.refer("component", component);
            }
            let steps = texts(self.walk, &table, "steps");
            let tools = listed(self.walk, &table, "tools", "tool");
            let Some(id) = id else { continue };
            self.state("access", &id);
            all.push(Access {
                name: value_or(name, &id.value),
                id: id.value,
                labour_h: labour.map_or(0.0, |at| at.value),
                always_renew: values(renew),
                steps,
                tools,
            });
        }
        all
    }

    fn layouts(&mut self, top: &Table<'_, '_>) -> Vec<Layout> {
        let known = &["id", "slots", "before", "after"];
        let mut all = Vec::new();
        for table in top.tables(self.walk, "layout", "[[layout]]", known) {
            let id = table.text(self.walk, "id");
            let slots = self.layout_slots(&table);
            let before = texts(self.walk, &table, "before");
            let after = texts(self.walk, &table, "after");
            let Some(id) = id else { continue };
            self.state("layout", &id);
            all.push(Layout {
                id: id.value,
                slots,
                before,
                after,
            });
        }
        all
    }

    fn layout_slots(&mut self, table: &Table<'_, '_>) -> Vec<LayoutSlots> {
        table.must(self.walk, "slots");
        let known = &["component", "positions", "access", "pieces"];
        let mut slots = Vec::new();
        let mut seen: HashMap<(String, String), usize> = HashMap::new();
        for group in table.tables(self.walk, "slots", "`slots`", known) {
            let component = group.text(self.walk, "component");
            let positions = group.texts(self.walk, "positions");
            let access = group.text_if(self.walk, "access");
            let pieces = group.whole_if(self.walk, "pieces", 1);
            if let Some(access) = &access {
                self.refer("access", access);
            }
            let Some(component) = component else { continue };
            self.refer("component", &component);
            for position in &positions {
                let line = self.walk.line(position.span.start);
                let slot = (component.value.clone(), position.value.clone());
                if let Some(first) = seen.insert(slot, line) {
                    duplicate(self.walk, "position", position, first);
                }
            }
            slots.push(LayoutSlots {
                component: component.value,
                positions: values(positions),
                access: access.map(|at| at.value),
                pieces,
            });
        }
        slots
    }

    fn machines(&mut self, top: &Table<'_, '_>) -> Vec<Machine> {
        let known = &[
            "tag",
            "name",
            "layout",
            "in_service",
            "downtime_cost",
            "usage_per_week",
        ];
        let mut all = Vec::new();
        for table in top.tables(self.walk, "machine", "[[machine]]", known) {
            let tag = table.text(self.walk, "tag");
            let name = table.text(self.walk, "name");
            let layout = table.text(self.walk, "layout");
            let in_service = table.day(self.walk, "in_service");
            let downtime_cost = table.money(self.walk, "downtime_cost");
            let rates = table.numbers_by_name(self.walk, "usage_per_week", Domain::NotNegative);
            if let Some(layout) = &layout {
                self.refer("layout", layout);
            }
            let mut usage_per_week = BTreeMap::new();
            for (usage, rate) in rates {
                self.refer("usage", &usage);
                usage_per_week.insert(usage.value, rate);
            }
            let Some(tag) = tag else { continue };
            self.state("machine", &tag);
            all.push(Machine {
                name: value_or(name, &tag.value),
                tag: tag.value,
                layout: value_or(layout, ""),
                in_service: in_service.unwrap_or(NaiveDate::MIN),
                downtime_cost: downtime_cost.unwrap_or_default(),
                usage_per_week,
            });
        }
        all
    }

    fn measurements(&mut self, top: &Table<'_, '_>) -> Vec<Measurement> {
        let known = &["component", "quantity", "unit", "zone", "limit"];
        let mut all: Vec<Measurement> = Vec::new();
        let mut seen: HashMap<(String, String, Option<String>), usize> = HashMap::new();
        for table in top.tables(self.walk, "measurement", "[[measurement]]", known) {
            let component = table.text(self.walk, "component");
            let quantity = table.text(self.walk, "quantity");
            let unit = unit(self.walk, &table);
            let zone = table.text_if(self.walk, "zone");
            let limit = limit_rule(self.walk, &table);
            if let (Some(zone), Some(LimitRule::Paired { .. })) = (&zone, &limit) {
                self.walk
                    .fault(zone.span.clone(), FaultKind::PairedWithZone);
            }
            if let Some(component) = &component {
                self.refer("component", component);
            }
            let (Some(component), Some(quantity)) = (component, quantity) else {
                continue;
            };
            let zone = zone.map(|at| at.value);
            let line = self.walk.line(quantity.span.start);
            let key = (
                component.value.clone(),
                quantity.value.clone(),
                zone.clone(),
            );
            if let Some(first) = seen.insert(key, line) {
                duplicate(self.walk, "measurement", &quantity, first);
            }
            let (Some(unit), Some(limit)) = (unit, limit) else {
                continue;
            };
            all.push(Measurement {
                component: component.value,
                quantity: quantity.value,
                unit,
                zone,
                limit,
            });
        }
        all
    }

    fn parts(&mut self, top: &Table<'_, '_>) -> Vec<Part> {
        let known = &[
            "number",
            "component",
            "price",
            "supplier",
            "lead_time_days",
            "stock",
        ];
        let mut all = Vec::new();
        for table in top.tables(self.walk, "part", "[[part]]", known) {
            let number = table.text(self.walk, "number");
            let component = table.text(self.walk, "component");
            let price = table.money_if(self.walk, "price");
            let supplier = table.text_if(self.walk, "supplier");
            let lead_time_days = table.whole_if(self.walk, "lead_time_days", 0);
            let stock = table.whole_if(self.walk, "stock", 0);
            if let Some(component) = &component {
                self.refer("component", component);
            }
            let Some(number) = number else { continue };
            self.state("part", &number);
            all.push(Part {
                number: number.value,
                component: value_or(component, ""),
                price,
                supplier: supplier.map(|at| at.value),
                lead_time_days,
                stock,
            });
        }
        all
    }
}
