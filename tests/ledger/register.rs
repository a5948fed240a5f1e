//! The register: values as stated, defaults where not, and every fault with its line.

use chrono::NaiveDate;
use rust_decimal::Decimal;
use wearbook::quantity::form_fault::FormFault;
use wearbook::register::{FaultKind, Register};
use wearbook::wear::LimitRule;

use crate::bench::PLANT;

fn money(text: &str) -> Decimal {
    text.parse().expect("money")
}

const WHOLE: &str = r#"
[plant]
name = "Quillmoor Oat Works"
currency = "EUR"
time_zone = "Europe/London"
labour_rate = 52.0
planning_grid = 250
crews = 2
service_level = 0.95
cautions = ["Tell the control room.", "Two people at the cap."]

[[usage]]
id = "hours"
name = "Running hours"
unit = "h"

[[component]]
id = "packing-set"
name = "Plunger packing set"
usage = "hours"
modes = ["leaking", "extruded"]
price = 86.50
pieces = 3
own_labour_h = 0.5
planned_stop_h = 1.0
failed_stop_h = 6
failed_extra_cost = 250
never_refit = true
assumed_shape = { shape = 2.5, source = "trials" }
shape_prior = { low = 1.0, high = 4.0, source = "trials" }
ceiling = { value = 4_000, source = "maker's manual" }
present_interval = 2e3
checks = ["Lips whole."]

[[component]]
id = "plunger"
name = "Plunger"
usage = "hours"
modes = ["scored"]
price = 300
planned_stop_h = 2.0

[[access]]
id = "cylinder"
name = "Cylinder cap off"
labour_h = 1.5
always_renew = ["packing-set"]
steps = ["Nuts off.", "Wipe clean.", "Nuts on.", "Wipe clean."]
tools = ["torque wrench", "feeler gauge"]

[[layout]]
id = "triplex"
slots = [
  { component = "packing-set", positions = ["P1", "P2", "P3"], access = "cylinder" },
  { component = "plunger", positions = ["P1", "P2", "P3"] },
]
before = ["Lock out."]
after = ["Covers on."]

[[machine]]
tag = "H-01"
name = "Homogeniser 1"
layout = "triplex"
in_service = 2021-01-04
downtime_cost = 420.0
usage_per_week = { hours = 96 }

[[measurement]]
component = "plunger"
quantity = "clearance"
unit = "µm"
limit = { paired = { limit = 300, small = 100 } }

[[part]]
number = "PK-3040"
component = "packing-set"
price = 80.0
supplier = "any"
lead_time_days = 14
stock = 0
"#;

#[test]
fn everything_stated_is_read() {
    let register = Register::parse(WHOLE).unwrap_or_else(|faults| panic!("{faults:#?}"));
    assert_eq!(register.plant.currency.code(), "EUR");
    assert_eq!(register.plant.time_zone, chrono_tz::Europe::London);
    assert_eq!(register.plant.planning_grid, Some(250.0));
    let packing = register.component("packing-set").expect("component");
    assert_eq!(packing.price, money("86.50"));
    assert_eq!(packing.failed_extra_cost, money("250"));
    assert_eq!((packing.pieces, packing.never_refit), (3, true));
    assert_eq!((packing.planned_stop_h, packing.failed_stop_h), (1.0, 6.0));
    assert_eq!(packing.ceiling.as_ref().map(|c| c.value), Some(4000.0));
    assert_eq!(packing.present_interval, Some(2000.0));
    let plunger = register.component("plunger").expect("component");
    assert_eq!((plunger.pieces, plunger.never_refit), (1, false));
    assert_eq!(
        plunger.failed_stop_h, 2.0,
        "as the planned stop unless stated"
    );
    assert_eq!(plunger.own_labour_h, 0.0);
    let machine = register.machine("H-01").expect("machine");
    assert_eq!(
        machine.in_service,
        NaiveDate::from_ymd_opt(2021, 1, 4).expect("day")
    );
    assert_eq!(machine.usage_per_week["hours"], 96.0);
    let slots: Vec<String> = register
        .slots("H-01")
        .map(|slot| format!("{} {} {:?}", slot.component, slot.position, slot.access))
        .collect();
    assert_eq!(slots.len(), 6);
    assert_eq!(slots[0], "packing-set P1 Some(\"cylinder\")");
    assert_eq!(slots[5], "plunger P3 None");
    assert_eq!(register.measurements[0].unit.symbol(), "µm");
    assert_eq!(
        register.measurements[0].limit,
        LimitRule::Paired {
            limit: Some(300.0),
            small: 100.0
        }
    );
    // The part's own price stands before the component's.
    assert_eq!(
        register.price("packing-set", Some("PK-3040")),
        Some(money("80.0"))
    );
    assert_eq!(register.price("packing-set", None), Some(money("86.50")));
    assert_eq!(register.price("spring", None), None);
}

/// What work sheets and plans need; nothing of it has to be stated.
#[test]
fn words_for_the_work_are_kept_in_their_order() {
    let register = Register::parse(WHOLE).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let plant = &register.plant;
    assert_eq!((plant.crews, plant.service_level), (Some(2), Some(0.95)));
    assert_eq!(
        plant.cautions,
        ["Tell the control room.", "Two people at the cap."]
    );
    assert_eq!(register.components[0].checks, ["Lips whole."]);
    assert!(register.components[1].checks.is_empty());
    let access = &register.accesses[0];
    // A step may come again.
    assert_eq!(
        access.steps,
        ["Nuts off.", "Wipe clean.", "Nuts on.", "Wipe clean."]
    );
    assert_eq!(access.tools, ["torque wrench", "feeler gauge"]);
    let layout = &register.layouts[0];
    assert_eq!(layout.before, ["Lock out."]);
    assert_eq!(layout.after, ["Covers on."]);
    assert_eq!(register.parts[0].stock, Some(0));

    let without = Register::parse(PLANT).unwrap_or_else(|faults| panic!("{faults:#?}"));
    let plant = &without.plant;
    assert_eq!((plant.crews, plant.service_level), (None, None));
    assert!(plant.cautions.is_empty());
    assert!(without.layouts.iter().all(|l| l.before.is_empty()));
    assert!(without.parts.iter().all(|p| p.stock.is_none()));
}

/// Edits one thing of a sound register; the one fault that follows, its line's text
/// and what is pointed at.
fn fault(old: &str, new: &str) -> (FaultKind, String) {
    assert_eq!(WHOLE.matches(old).count(), 1, "{old} stands once");
    let text = WHOLE.replace(old, new);
    let mut faults = Register::parse(&text).expect_err("a fault");
    assert_eq!(faults.len(), 1, "{faults:#?}");
    let fault = faults.remove(0);
    assert_eq!(
        text.lines().nth(fault.line - 1),
        Some(fault.excerpt.as_str())
    );
    (fault.kind, fault.excerpt[fault.span].to_owned())
}

#[test]
fn each_fault_is_found_and_pointed_at() {
    type Fits = fn(&FaultKind) -> bool;
    let cases: [(&str, &str, Fits, &str); 29] = [
        (
            "planning_grid",
            "planing_grid",
            |k| matches!(k, FaultKind::Form(FormFault::UnknownKey { nearest: Some(n), .. }) if n == "planning_grid"),
            "planing_grid",
        ),
        (
            "currency = \"EUR\"",
            "currency = \"EUX\"",
            |k| matches!(k, FaultKind::UnknownCurrency { .. }),
            "\"EUX\"",
        ),
        (
            "Europe/London",
            "Europe/Londn",
            |k| matches!(k, FaultKind::UnknownZone { nearest: Some(n), .. } if n == "Europe/London"),
            "\"Europe/Londn\"",
        ),
        (
            "labour_rate = 52.0",
            "labour_rate = -0.01",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "-0.01",
        ),
        (
            "labour_rate = 52.0",
            "labour_rate = nan",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "nan",
        ),
        (
            "planning_grid = 250",
            "planning_grid = 0",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "0",
        ),
        (
            "[\"leaking\", \"extruded\"]",
            "[]",
            |k| matches!(k, FaultKind::Form(FormFault::Empty { .. })),
            "[]",
        ),
        (
            "[\"leaking\", \"extruded\"]",
            "[\"leaking\", \"leaking\"]",
            |k| matches!(k, FaultKind::Duplicate { what: "mode", .. }),
            "\"leaking\"",
        ),
        (
            "pieces = 3",
            "pieces = 0",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "0",
        ),
        (
            "never_refit = true",
            "never_refit = \"yes\"",
            |k| matches!(k, FaultKind::Form(FormFault::WrongType { .. })),
            "\"yes\"",
        ),
        (
            "{ low = 1.0, high = 4.0",
            "{ low = 4.0, high = 4.0",
            |k| matches!(k, FaultKind::LowNotBelowHigh { .. }),
            "4.0",
        ),
        (
            "value = 4_000",
            "value = -4_000",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "-4_000",
        ),
        (
            "always_renew = [\"packing-set\"]",
            "always_renew = [\"packing\"]",
            |k| {
                matches!(
                    k,
                    FaultKind::UnknownReference {
                        what: "component",
                        ..
                    }
                )
            },
            "\"packing\"",
        ),
        (
            "access = \"cylinder\"",
            "access = \"cilinder\"",
            |k| matches!(k, FaultKind::UnknownReference { what: "access", .. }),
            "\"cilinder\"",
        ),
        (
            "layout = \"triplex\"",
            "layout = \"quintuplex\"",
            |k| {
                matches!(
                    k,
                    FaultKind::UnknownReference {
                        what: "layout",
                        nearest: None,
                        ..
                    }
                )
            },
            "\"quintuplex\"",
        ),
        (
            "usage_per_week = { hours",
            "usage_per_week = { starts",
            |k| matches!(k, FaultKind::UnknownReference { what: "usage", .. }),
            "starts",
        ),
        (
            "id = \"plunger\"",
            "id = \" plunger\"",
            |k| matches!(k, FaultKind::Form(FormFault::Untidy { .. })),
            "\" plunger\"",
        ),
        (
            "2021-01-04",
            "2021-01-04T00:00:00Z",
            |k| matches!(k, FaultKind::Form(FormFault::WrongType { .. })),
            "2021-01-04T00:00:00Z",
        ),
        (
            "unit = \"µm\"",
            "unit = \"micron\"",
            |k| matches!(k, FaultKind::UnknownUnit { .. }),
            "\"micron\"",
        ),
        (
            "limit = { paired = { limit = 300, small = 100 } }",
            "limit = {}",
            |k| matches!(k, FaultKind::LimitRules { found: 0 }),
            "{}",
        ),
        (
            "limit = { paired",
            "zone = \"working\"\nlimit = { paired",
            |k| matches!(k, FaultKind::PairedWithZone),
            "\"working\"",
        ),
        (
            "downtime_cost = 420.0",
            "",
            |k| {
                matches!(
                    k,
                    FaultKind::Form(FormFault::MissingKey {
                        key: "downtime_cost",
                        ..
                    })
                )
            },
            "[[machine]]",
        ),
        (
            "crews = 2",
            "crews = 0",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "0",
        ),
        (
            "service_level = 0.95",
            "service_level = 95",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "95",
        ),
        (
            "service_level = 0.95",
            "service_level = 1.0",
            |k| matches!(k, FaultKind::Form(FormFault::OutOfDomain { .. })),
            "1.0",
        ),
        (
            "\"Two people at the cap.\"",
            "\"Tell the control room.\"",
            |k| {
                matches!(
                    k,
                    FaultKind::Duplicate {
                        what: "caution",
                        ..
                    }
                )
            },
            "\"Tell the control room.\"",
        ),
        (
            "steps = [\"Nuts off.\"",
            "steps = [\"\"",
            |k| matches!(k, FaultKind::Form(FormFault::Empty { .. })),
            "\"\"",
        ),
        (
            "before = [\"Lock out.\"]",
            "before = \"Lock out.\"",
            |k| matches!(k, FaultKind::Form(FormFault::WrongType { .. })),
            "\"Lock out.\"",
        ),
        (
            "stock = 0",
            "stock = 2.5",
            |k| matches!(k, FaultKind::Form(FormFault::WrongType { .. })),
            "2.5",
        ),
    ];
    for (old, new, fits, pointed) in cases {
        if new.contains(" plunger") {
            // The component is then unknown wherever it is named.
            let text = WHOLE.replace(old, new);
            let faults = Register::parse(&text).expect_err("faults");
            assert!(fits(&faults[0].kind), "{new}: {:?}", faults[0]);
            assert_eq!(faults.len(), 3);
            continue;
        }
        let (kind, found) = fault(old, new);
        assert!(fits(&kind), "{new}: {kind:?}");
        assert_eq!(found, pointed, "{new}");
    }
}

#[test]
fn an_empty_register_lacks_every_table() {
    let faults = Register::parse("").expect_err("faults");
    assert_eq!(faults.len(), 5);
    assert!(
        faults
            .iter()
            .all(|f| matches!(f.kind, FaultKind::NoTable { .. }))
    );
}

#[test]
fn ids_stated_twice_name_the_first_line() {
    let text = format!("{PLANT}\n[[usage]]\nid = \"hours\"\nname = \"x\"\nunit = \"h\"\n");
    let faults = Register::parse(&text).expect_err("a fault");
    assert_eq!(faults.len(), 1);
    assert!(matches!(
        &faults[0].kind,
        FaultKind::Duplicate { what: "usage", value, first: 8 } if value == "hours"
    ));
}

/// Whatever the text, the answer is a register or faults with places in it.
#[test]
fn cut_anywhere_the_text_is_answered() {
    for cut in (0..WHOLE.len()).filter(|cut| WHOLE.is_char_boundary(*cut)) {
        let text = &WHOLE[..cut];
        if let Err(faults) = Register::parse(text) {
            for fault in faults {
                assert!(fault.line >= 1 && fault.line <= text.lines().count().max(1) + 1);
                assert!(fault.excerpt.get(fault.span.clone()).is_some(), "{fault:?}");
            }
        }
    }
}
