//! `interval --grouped`: the stops of each machine.
//!
//! In: the ledgers and what is asked of them. Out: the grouped plans as a view.
//! Never: the search; printing.

use super::evidence::{Ask, gather};
use super::group_inputs::{Ground, GroupedMachine, grouped};
use super::group_machine::LeftOut;
use super::interval::IntervalArgs;
use super::select::{Select, folders};
use super::{CommandError, Ui};
use crate::policy::age::NEAR;
use crate::policy::siblings::Pooling;
use crate::store::{Options, Store};
use crate::view::group::{
    GroupSlotView, GroupView, GroupsView, LeftOutView, OpeningView, SlotCostView,
};
use crate::view::interval::NearView;
use crate::view::table::usage;

pub(super) fn from_ledger(args: &IntervalArgs, ui: &mut Ui) -> Result<GroupsView, CommandError> {
    let store = Store::open(&folders(&args.ledgers), args.as_of, &Options::default())?;
    for trouble in store.troubles() {
        ui.trouble(trouble);
    }
    args.select.check(&store)?;
    // A machine's parts are judged by all there is, whatever is shown.
    let ask = Ask {
        select: Select::default(),
        sure: args.sure,
        confidence: args.confidence,
        prior: args.shape_prior,
        planned_cost: None,
        failed_cost: None,
        pooling: args.pool.map_or(Pooling::Partial, Pooling::from),
    };
    let evidence = gather(&store, &ask)?;
    if evidence.iter().all(|c| c.rows.is_empty()) {
        return Err(super::select::no_lives(&store));
    }
    let machines: Vec<String> = store
        .machines()
        .into_iter()
        .filter(|machine| args.select.takes_machine(machine))
        .collect();
    let plans = grouped(&store, &evidence, &machines)?;
    Ok(GroupsView {
        currency: store.register().plant.currency.code().to_owned(),
        machines: plans.iter().map(view).collect(),
    })
}

fn view(found: &GroupedMachine) -> GroupView {
    let plan = &found.plan;
    let inputs = &found.inputs;
    let slots = plan.slots.iter().enumerate().map(|(n, slot)| {
        let input = &inputs.slots[n];
        let facts = &found.slots[n];
        let access = input.access.map(|a| &inputs.accesses[a]);
        let own = |value: Option<f64>| value.map(|v| found.own(n, v));
        GroupSlotView {
            component: input.item.component.clone(),
            position: input.item.position.clone(),
            access: access.map(|a| a.id.clone()),
            cylinder: access.map(|a| a.cylinder.clone()),
            multiple: slot.multiple,
            interval: own(slot.interval),
            unit: facts.unit.clone(),
            own_interval: own(input.alone),
            take_exposed_from: own(slot.exposed_from),
            take_down_from: own(slot.down_from),
            cost_rate: SlotCostView {
                renewals: slot.share.renewals,
                failures: slot.share.failures,
                shared: slot.share.shared,
            },
            notes: ground_words(facts.ground, &facts.unit)
                .into_iter()
                .collect(),
        }
    });
    let openings = plan.accesses.iter().zip(&inputs.accesses);
    let openings = openings.map(|(plan, access)| OpeningView {
        access: access.id.clone(),
        cylinder: access.cylinder.clone(),
        every: plan.every.clone(),
        always_renewed: access
            .disturbed
            .iter()
            .map(|d| d.item.component.clone())
            .collect(),
        cost_rate: plan.cost_rate,
    });
    let left_out = found.left_out.iter().map(|(component, position, why)| {
        let why = match why {
            LeftOut::OtherUsage => format!(
                "it ages by another usage than {}: state in the register how much of both the \
                 machine runs in a week (usage_per_week)",
                found.usage.name
            ),
        };
        LeftOutView {
            component: component.clone(),
            position: position.clone(),
            why,
        }
    });
    GroupView {
        machine: found.machine.clone(),
        usage: found.usage.name.to_lowercase(),
        unit: found.usage.unit.clone(),
        base_interval: plan.base,
        near_optimal: plan.near.map(|(from, to)| NearView {
            from,
            to: Some(to),
            within: NEAR,
        }),
        cost_rate: plan.cost.into(),
        own_intervals: plan.own_intervals.into(),
        run_to_failure: plan.run_to_failure.into(),
        saving_against_own_intervals: plan.saving_on_own(),
        saving_against_run_to_failure: plan.saving_on_failure(),
        slots: slots.collect(),
        openings: openings.collect(),
        left_out: left_out.collect(),
    }
}

/// What an interval rests on, where that is not the least cost alone.
fn ground_words(ground: Ground, unit: &str) -> Option<String> {
    let known = |failures: bool| {
        if failures {
            "the record does not settle whether renewing it pays"
        } else {
            "no failure on record, so that none is counted in the cost"
        }
    };
    match ground {
        Ground::Cost => None,
        Ground::Ceiling(ceiling) => Some(format!(
            "never beyond the ceiling of {} {unit}",
            usage(ceiling)
        )),
        Ground::KeepsPresent {
            usage: present,
            failures,
        } => Some(format!(
            "{}: the present interval of {} {unit} is kept as an upper limit",
            known(failures),
            usage(present)
        )),
        Ground::Unsettled { failures } => Some(format!(
            "{}, and no present interval is stated: left to failure",
            known(failures)
        )),
    }
}
